"""`ordain explain NAME`: what a check or message means, an example, the usual repair."""

import click

from ordain.cli.manner import print_json, speaks


@click.command("explain")
@click.argument("name", required=False)
@speaks("text", "json")
def command(name: str | None, form: str, quiet: bool, colour: str) -> int:
    """Say what the finding NAME means, with an example and the usual repair. Without NAME: list them all."""
    from ordain.checks.catalogue import EXPLANATIONS, explain

    if name is None:
        if form == "json":
            print_json({"findings": [{"name": text.name, "fault": text.fault} for text in EXPLANATIONS]})
            return 0
        width = max(len(text.name) for text in EXPLANATIONS)
        for text in EXPLANATIONS:
            click.echo(f"{text.name.ljust(width)}  {text.fault}")
        return 0
    found = explain(name)
    if found is None:
        from difflib import get_close_matches

        near = get_close_matches(name, [text.name for text in EXPLANATIONS], 1)
        raise click.UsageError(f"nothing is called `{name}`." + (f" Did you mean `{near[0]}`?" if near else "")
                               + " `ordain explain` lists all names")
    if form == "json":
        print_json(found._asdict())
        return 0
    click.echo(f"{found.name}: {found.fault}\n\n{found.about}\n")
    if found.example:
        lines = found.example.strip("\n").splitlines()
        click.echo("For example\n\n" + "\n".join(f"    {line}".rstrip() for line in lines) + "\n")
    click.echo(f"Usual repair: {found.repair}")
    return 0
