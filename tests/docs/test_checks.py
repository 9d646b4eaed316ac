"""docs/checks.md names every check and rule that there is."""

from pathlib import Path

from ordain.checks import catalogue

PAGE = (Path(__file__).parents[2] / "docs" / "checks.md").read_text()


def test_every_check_is_on_the_page() -> None:
    for text in (*(check.explanation for check in catalogue.CHECKS), *catalogue.BY_INSPECTION):
        assert f"`{text.name}`" in PAGE, text.name


def test_every_form_of_rule_is_on_the_page() -> None:
    for form in ("`never P`", "`reach P`", "`always reach P`", "`when P then Q within N cycles [unless R]`",
                 "`between P and Q never R [after S]`", "`after P never Q until R`"):
        assert form in PAGE
