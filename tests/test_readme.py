"""README says what is so: every key and its default, every verb and its JSON keys, and the worked example.

After a change that moves the figures, `python -m tests.test_readme` writes the example's output anew.
"""

from __future__ import annotations

import importlib
import json
import re
from pathlib import Path

import pytest

from estimator import cli
from estimator.casefile.records import LISTS, TABLES, defaults

ROOT = Path(__file__).resolve().parent.parent
README = ROOT / "README.md"
PROMPT = "$ estimator assess "
NUMBER = re.compile(r"\d[\d,]*(?:\.\d+)?")
CUT = "[...]"


def text() -> str:
    return README.read_text(encoding="utf-8")


def table_of(name: str) -> dict[str, str]:
    """Key -> default as printed under the heading of one table of the case file."""
    section = re.search(rf"^#### `\[+{name}\]+`.*?$(.*?)(?=^#)", text(), re.MULTILINE | re.DOTALL)
    assert section is not None, f"README has no section for {name}"
    rows = re.findall(r"^\| `(\w+)` \| (.*?) \|", section.group(1), re.MULTILINE)
    return dict(rows)


@pytest.mark.parametrize("name", [*TABLES, *LISTS])
def test_every_key_stands_in_readme_with_its_default(name):
    record = {**TABLES, **LISTS}[name]
    printed = table_of(name)
    fields = record.__pydantic_fields__
    names = {"start": "from", "end": "to"}
    assert set(printed) == {names.get(key, key) for key in fields}
    for key, default in defaults(record).items():
        said = printed[key]
        assert said != "required", key
        if isinstance(default, bool):
            assert said == str(default).lower(), key
        elif isinstance(default, (int, float)):
            assert float(said.split()[0]) == default, key
        elif isinstance(default, str) and default:
            assert said == f'"{default}"', key
    required = {names.get(key, key) for key, info in fields.items() if info.is_required()}
    assert {key for key, said in printed.items() if said == "required"} == required


def test_every_verb_stands_in_readme():
    for verb in cli.VERBS:
        assert re.search(rf"^\| `{verb}\b", text(), re.MULTILINE), verb


@pytest.mark.parametrize(
    "key",
    [
        "outlay",
        "known",
        "hidden",
        "comfort",
        "unlisted",
        "p_spent",
        "p_due",
        "share_tail",
        "why",
        "worst_fifth",
    ],
)
def test_json_keys_stand_in_readme(key):
    assert f"`{key}`" in text()


def flags_of(verb: str) -> set[str]:
    """Every flag argparse knows of a verb, its help aside."""
    parser = cli.parser_of(verb, importlib.import_module(f"estimator.commands.{verb}"))
    return {word for action in parser._actions for word in action.option_strings} - {"-h", "--help"}


def flags_in_readme(verb: str) -> set[str]:
    """Flags in the rows of README's table of flags that name the verb."""
    section = text().split("\n## Flags\n")[1].split("\n## ")[0]
    rows = [row.split(" | ") for row in section.splitlines() if row.startswith("| ")]
    mine = [row[1] for row in rows if f"`{verb}`" in row[0] or row[0] == "| every verb"]
    return {flag for cell in mine for flag in re.findall(r"`(--[a-z-]+)", cell)}


@pytest.mark.parametrize("verb", cli.VERBS)
def test_every_flag_stands_in_readme_and_no_other(verb):
    """Second method: the parsers themselves."""
    assert flags_in_readme(verb) == flags_of(verb)


SAID_ONCE = {"format", "case", "currency", "draws", "seed", "warnings", "open_stops", "stops", "price_year"}
RESULTS = {  # verb -> what to run it on, and lists and tables of its result whose keys are named too
    "assess": (("small-saloon",), ("components", "outlay", "grid", "evidence", "suspects")),
    "next": (("small-saloon",), ("checks", "not_now", "together")),
    "offer": (("small-saloon",), ("chance_budget_holds",)),
    "plan": (("coupe",), ("months", "binds", "while_apart", "reserve")),
    "keep": (("small-saloon",), ("years", "sell_now")),
    "compare": (("small-saloon", "small-saloon"), ("cases",)),
    "record": (("small-saloon", "--to", "new.toml", "--bought", "2026-11-02"), ("look_back",)),
    "sheet": (("coupe", "--pdf", "sheet.pdf"), ("stations", "left_out")),
}


@pytest.mark.parametrize("verb", RESULTS)
def test_every_key_of_a_result_stands_in_readme(verb, tmp_path, monkeypatch):
    """Second method: the JSON as written."""
    words, nested = RESULTS[verb]
    monkeypatch.chdir(tmp_path)
    examples = {path.stem: str(path) for path in (ROOT / "data" / "examples").glob("*.toml")}
    call = [verb, *(examples.get(word, word) for word in words), "--draws", "300", "--json", "out.json"]
    assert cli.main(call) == 0
    found = json.loads(Path("out.json").read_text(encoding="utf-8"))
    tables = [found]
    for key in nested:
        inner = found[key][0] if isinstance(found[key], list) else found[key]
        tables.append(inner)
        if verb == "plan" and key == "months":
            tables.append(inner["jobs"][0])
    section = text().split("\n## JSON\n")[1].split("\n## ")[0]
    own = re.search(rf"^Of `{verb}`.*?(?=^Of |\Z)", section, re.MULTILINE | re.DOTALL)
    said = own.group(0) if own else next(r for r in section.splitlines() if r.startswith(f"| `{verb}`"))
    named = set(re.findall(r"`(\w+)`", said)) | SAID_ONCE
    missing = {key for table in tables for key in table} - named
    assert not missing


def example() -> tuple[str, list[str]]:
    """The command of the worked example, and the lines it shows."""
    block = re.search(rf"^```\n({re.escape(PROMPT)}.*?)^```$", text(), re.MULTILINE | re.DOTALL)
    assert block is not None, "README has no worked example"
    command, *rows = block.group(1).splitlines()
    return command.removeprefix("$ estimator "), rows


def printed(command: str, capsys: pytest.CaptureFixture[str]) -> list[str]:
    assert cli.main(command.split()) == 0
    return capsys.readouterr().out.splitlines()


def test_the_worked_example_is_what_the_program_prints(capsys, monkeypatch):
    """Its words exactly, its figures within 3 % (another processor may round the last digit otherwise)."""
    monkeypatch.chdir(ROOT)
    command, shown = example()
    real = printed(command, capsys)
    place = 0
    for row in shown:
        if row.strip() == CUT:
            place = -1
            continue
        if place == -1:
            place = next((i for i, line in enumerate(real) if words(line) == words(row)), len(real))
        assert place < len(real), f"not printed: {row!r}; python -m tests.test_readme writes it anew"
        assert same(real[place], row), f"{row!r} is printed as {real[place]!r}"
        place += 1


def words(row: str) -> str:
    return " ".join(NUMBER.sub("#", row).split())


def same(real: str, shown: str) -> bool:
    if words(real) != words(shown):
        return False
    pairs = zip(NUMBER.findall(real), NUMBER.findall(shown), strict=True)
    figures = ((float(a.replace(",", "")), float(b.replace(",", ""))) for a, b in pairs)
    return all(abs(a - b) <= max(0.03 * abs(b), 1) for a, b in figures)


def test_readme_promises_no_certificate_and_keeps_to_itself():
    for phrase in ("not an inspection", "roadworthiness certificate", "Nothing is sent"):
        assert phrase in text()


def _write_anew() -> None:  # pragma: no cover
    import contextlib
    import io
    import os

    os.chdir(ROOT)
    command, shown = example()
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        cli.main(command.split())
    real = out.getvalue().splitlines()
    cuts = [i for i, row in enumerate(shown) if row.strip() == CUT]
    kept = real
    if cuts:  # the part before the first cut keeps its length, the part after it starts at the same words
        after = next(i for i, row in enumerate(real) if row.startswith(shown[cuts[0] + 1][:24]))
        kept = [*real[: cuts[0]], CUT, *real[after : after + len(shown) - cuts[0] - 1]]
    block = "\n".join((f"{PROMPT}{command.removeprefix('assess ')}", *kept)) + "\n"
    old = "\n".join((f"{PROMPT}{command.removeprefix('assess ')}", *shown)) + "\n"
    README.write_text(text().replace(old, block), encoding="utf-8")


if __name__ == "__main__":
    _write_anew()
