"""README says what is so: every key and its default, every verb and its JSON keys, and the worked example.

After a change that moves the figures, `python -m tests.test_readme` writes the example's output anew.
"""

from __future__ import annotations

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
    ["outlay", "known", "hidden", "comfort", "unlisted", "p_spent", "p_due", "share_tail", "why", "worst_fifth"],
)
def test_json_keys_stand_in_readme(key):
    assert f"`{key}`" in text()


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
