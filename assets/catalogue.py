"""Bring the translations in step with the texts: collect, merge, compile.

    python assets/catalogue.py          merge new texts into every language, and compile
    python assets/catalogue.py --new fr begin another language

Collects every text of ``app`` and of the part profiles; needs babel, which the test extra brings.
What is new or has changed is left empty in every language, and shows in English until it is translated in
``assets/locale/LANGUAGE/LC_MESSAGES/swellmark.po``. A test holds the languages complete.
"""

from __future__ import annotations

import io
import sys
import tomllib
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from babel.messages import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

ROOT = Path(__file__).resolve().parent.parent
LOCALE = ROOT / "assets" / "locale"
# Fixed, so that a catalogue changes with its texts alone.
_DATE = datetime(2026, 1, 1, tzinfo=UTC)
_HEAD = "# Swellmark in another language. Made and kept in step by assets/catalogue.py.\n#"
_KEYWORDS = {"_": None, "ngettext": (1, 2), "pgettext": ((1, "c"), 2)}


def collect() -> Catalog:
    """Every text that can be translated."""
    catalogue = Catalog(project="Swellmark", charset="utf-8", creation_date=_DATE)
    found = extract_from_dir(
        ROOT / "app",
        method_map=[("**.py", "python")],
        options_map={"**.py": {"encoding": "utf-8"}},
        keywords=_KEYWORDS,
    )
    for _file, _line, text, _comments, context in found:
        if text:
            catalogue.add(text, context=context)
    for text in _texts_of_parts():
        catalogue.add(text)
    return catalogue


def _texts_of_parts() -> Iterator[str]:
    profiles = tomllib.loads((ROOT / "assets" / "parts.toml").read_text(encoding="utf-8"))
    for profile in profiles.values():
        yield profile["name"]
        yield from profile.get("hints", [])


def languages() -> list[str]:
    """The languages that there are."""
    return sorted(file.parent.parent.name for file in LOCALE.glob("*/LC_MESSAGES/swellmark.po"))


def po_file(language: str) -> Path:
    """Where a translation is written."""
    return LOCALE / language / "LC_MESSAGES" / "swellmark.po"


def read(language: str) -> Catalog:
    """A translation."""
    with po_file(language).open("rb") as file:
        return read_po(file, locale=language)


def compiled(catalogue: Catalog) -> bytes:
    """A translation as gettext reads it."""
    file = io.BytesIO()
    write_mo(file, catalogue)
    return file.getvalue()


def untranslated(catalogue: Catalog) -> list[object]:
    """The texts that show in English."""
    return [
        message.id
        for message in catalogue
        if message.id and not all(message.string if isinstance(message.string, tuple) else [message.string])
    ]


def main(arguments: list[str]) -> int:
    """Bring every language in step."""
    texts = collect()
    fresh = arguments[1:] if arguments[:1] == ["--new"] else []
    for language in sorted({*languages(), *fresh}):
        path = po_file(language)
        path.parent.mkdir(parents=True, exist_ok=True)
        catalogue = read(language) if path.exists() else Catalog(locale=language)
        catalogue.update(texts, no_fuzzy_matching=True)
        catalogue.header_comment, catalogue.fuzzy = _HEAD, False
        catalogue.project, catalogue.version, catalogue.revision_date = "Swellmark", "1", _DATE
        catalogue.last_translator = catalogue.language_team = "Swellmark"
        catalogue.msgid_bugs_address = ""
        catalogue.obsolete.clear()
        with path.open("wb") as file:
            # Sorted by text, without places: a change of code does not change the file.
            write_po(file, catalogue, width=110, no_location=True, sort_output=True)
        path.with_suffix(".mo").write_bytes(compiled(catalogue))
        print(f"{language}: {len(catalogue)} texts, {len(untranslated(catalogue))} to translate")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
