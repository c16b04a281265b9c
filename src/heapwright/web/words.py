"""The words on screen, in one catalogue a language.

Conventions: the English text is its own key; ``zz`` is a pseudo-language that marks every
translated word with brackets, so that a test can find any that is not.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

__all__ = ["LANGUAGES", "Words"]

#: translations by language and English text; a text that is not there stays English
LANGUAGES: Mapping[str, Mapping[str, str]] = {"en": {}, "zz": {}}


@dataclass(frozen=True, slots=True)
class Words:
    """Says a text in a language; called with the English text and the names that stand in it.

    >>> Words("en")("{n} not yet sent", n=3), Words("zz")("undo")
    ('3 not yet sent', '⟦undo⟧')
    """

    language: str = "en"
    asked: set[str] = field(default_factory=set, compare=False)

    def __call__(self, text: str, **names: object) -> str:
        self.asked.add(text)
        said = LANGUAGES.get(self.language, {}).get(text, text)
        if self.language == "zz":
            said = f"⟦{said}⟧"
        return said.format(**names) if names else said
