"""What in a comment may name somebody: shapes, titles, initials, particles, names, letters of other scripts.

Common practice, no source; which identifiers there are: 45 CFR 164.514(b)(2). What is found is uncertain: a person reads
the comment and releases it, or takes out what names somebody.
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

import pyarrow as pa
import pyarrow.compute as pc

from pipelines.files.names import class_of, family_names_of_one_letter, is_base_form, is_listed, names, words
from pipelines.files.shapes import IN_TEXT, Shape

A_NAME = "a person's name"
LONGEST_TEXT = 20_000  # characters; a longer one is shown to a person unread
MOST_TEXT = 20_000_000  # characters of a column
TOO_LONG = "too much text to look through"

WORD = re.compile(r"[^\W\d_]+(?:['’][^\W\d_]+)*")
SENTENCE_END = re.compile(r"[.!?:;\n(\"“•\-–]\s*$|\n")
INSIDE_A_NAME = re.compile(r"[,.]?[\s\u00a0-]{1,2}")
JOINED_CAPITAL = re.compile(r"(?:Mc|Mac|Fitz|[OD]['’])[A-ZÀ-Þ]")
INITIALS = re.compile(r"(?:\b[^\W\d_]\.\s?)+$")
CASELESS = re.compile(
    r"[\u0590-\u07ff\u0900-\u0dff\u0e00-\u0eff\u0f00-\u0fff\u1000-\u109f\u1100-\u11ff\u1200-\u137f\u1780-\u17ff"
    r"\u3040-\u30ff\u3400-\u9fff\uac00-\ud7af\uf900-\ufaff\U00020000-\U0003ffff]"
)
HAN_PERSON = re.compile(
    r"[\u3400-\u9fff]{1,3}(?:医生|醫生|医师|醫師|主任|教授|先生|女士|小姐|护士|護士|同学|さん|様|氏|씨)|(?:患者|病人|姓名)[::\s]?[\u3400-\u9fff]{2}"
)
RUN_OF_LETTERS = re.compile(
    r"(?<![\u3400-\u9fff\uac00-\ud7af])[\u3400-\u9fff\uac00-\ud7af]{2,4}(?![\u3400-\u9fff\uac00-\ud7af])"
)


def key_of(column: str, text: str) -> str:
    """How a comment is named in what a person released."""
    return hashlib.sha256(f"{column}\0{text}".encode()).hexdigest()[:16]


def uncertain_texts(texts: Sequence[str]) -> dict[str, str]:
    """Of the different texts of a column those that may name somebody, with what each may hold."""
    if sum(map(len, texts)) > MOST_TEXT:
        return dict.fromkeys(texts, TOO_LONG)
    found = {text: TOO_LONG for text in texts if len(text) > LONGEST_TEXT}
    read = {text: unmasked(text) for text in texts if text not in found}
    found |= shaped(list(read.items()))
    # Where most comments are written in such letters, a comment of them is no stranger.
    own_script = sum(bool(CASELESS.search(text)) for text in read.values()) * 2 > len(read)
    for text, plain in read.items():
        if text not in found and (name := named_in(plain, own_script)):
            found[text] = name
    return found


def unmasked(text: str) -> str:
    """The text without invisible characters, letters and digits of other forms as plain ones."""
    if text.isascii():
        return text
    plain = unicodedata.normalize("NFKC", text)
    return "".join(
        str(unicodedata.decimal(letter)) if letter.isdecimal() else letter
        for letter in plain
        if unicodedata.category(letter) != "Cf"
    )


def shaped(texts: Sequence[tuple[str, str]]) -> dict[str, str]:
    """The texts (as typed, unmasked) that have one of the shapes, with what the first of them is."""
    found: dict[str, str] = {}
    plain = pa.array([unmasked_text for _, unmasked_text in texts], pa.string())
    for shape in IN_TEXT:
        for place in pc.indices_nonzero(pc.match_substring_regex(plain, shape.pattern)).to_pylist():
            typed, unmasked_text = texts[place]
            if has(shape, unmasked_text):
                found.setdefault(typed, shape.what)
    return found


def has(shape: Shape, text: str) -> bool:
    return shape.check is None or shape.check(text)


# Names


@dataclass(frozen=True)
class Token:
    """One word of a text; `gap` is what stands between it and the word before."""

    text: str
    gap: str
    begins: bool

    @property
    def is_capitalised(self) -> bool:
        return self.text[0].isupper()

    @property
    def is_initials(self) -> bool:
        return len(self.text) in (2, 3) and self.text.isupper()

    @property
    def kind(self) -> str:
        return class_of(self.text)


NO_WORD = Token(" ", "", True)


def tokens_of(text: str) -> list[Token]:
    tokens: list[Token] = []
    end = 0
    for match in WORD.finditer(text):
        gap = text[end : match.start()]
        tokens.append(Token(match.group(), gap, not tokens or bool(SENTENCE_END.search(gap))))
        end = match.end()
    return tokens


def named_in(text: str, own_script: bool) -> str | None:
    """What in a text may be a name, in words; None for a text that names nobody."""
    if CASELESS.search(text) and not own_script:
        return "letters of another script"
    if own_script and (HAN_PERSON.search(text) or any(map(is_joined_name, RUN_OF_LETTERS.findall(text)))):
        return A_NAME
    tokens = tokens_of(text)
    # Where everything is in capitals, capitals say nothing.
    shouted = sum(token.text.isupper() for token in tokens) > 0.8 * len(tokens)
    around = zip([NO_WORD, *tokens], tokens, [*tokens[1:], NO_WORD], strict=False)
    if any(is_name(before, token, after, shouted) for before, token, after in around):
        return A_NAME
    return None


def is_joined_name(letters: str) -> bool:
    """A family name and a given name in letters that are written without a space."""
    return letters[0] in family_names_of_one_letter() and letters[1:] in names()


def is_name(before: Token, token: Token, after: Token, shouted: bool) -> bool:
    """Whether a word is a name, by itself or by the words beside it."""
    kind = token.kind
    if kind == "name" or JOINED_CAPITAL.match(token.text) or of_two_scripts(token.text):
        return True
    if before.text.casefold() == "by" and token.gap == " " and len(token.text) == 2 and token.text.isupper():
        return not shouted
    if kind == "plain":
        return (
            after_a_title(before, token) and is_listed(token.text) and token.text not in words("auxiliaries")
        )
    if len(token.text) == 1:
        return False
    capital = token.is_capitalised and not shouted
    return (
        (capital and not token.begins and kind == "either")
        or beside_a_person(before, token, capital)
        or beside_a_capital(token, after, shouted)
        or with_initials(before, token, after, capital)
        or (
            kind in ("unknown", "either")
            and after.text.casefold() in words("what persons do")
            and (capital or kind == "unknown")
        )
        or (token.is_capitalised and token.text[-2:] in ("'s", "’s"))
    )


def after_a_title(before: Token, token: Token) -> bool:
    return before.text.casefold() in words("titles") and token.gap.strip(" .\u00a0") == ""


def beside_a_person(before: Token, token: Token, capital: bool) -> bool:
    """After a title, a word such as `by`, or a particle of names."""
    word, close = before.text.casefold(), token.gap.strip(" .\u00a0") == ""
    if after_a_title(before, token):
        return capital or token.kind in ("unknown", "either") or is_base_form(token.text.lower())
    if token.begins or not close:
        return False
    if word in words("particles of names"):
        return capital
    if word in words("beside a person"):
        return capital or token.is_initials or (word == "by" and token.kind in ("unknown", "either"))
    return word in ("in", "at") and capital and token.kind == "unknown"


def beside_a_capital(token: Token, after: Token, shouted: bool) -> bool:
    """Two neighbouring capitalised words, neither of which is plain, at least one of them no English word."""
    if shouted:
        return token.kind != "word" and after.kind in ("unknown", "either") and bool(after.gap)
    if not (token.is_capitalised and after.is_capitalised and INSIDE_A_NAME.fullmatch(after.gap)):
        return False
    if after.kind == "plain" or "." in after.gap or len(after.text) == 1:
        return False
    kinds = {token.kind, after.kind}
    return "word" not in kinds or (len(kinds) == 2 and not token.begins)


def with_initials(before: Token, token: Token, after: Token, capital: bool) -> bool:
    """`A. Muster`, `J.R. Muster`, `Muster, A.`; a letter that ends a sentence is no initial."""
    if not capital:
        return False
    if len(before.text) == 1 and before.text.isupper() and token.gap in (".", ". "):
        return token.kind != "word" or before.begins
    return (
        len(after.text) == 1
        and after.text.isupper()
        and (after.gap == ", " or (token.kind == "unknown" and after.gap == " "))
    )


def of_two_scripts(word: str) -> bool:
    """Whether letters of two alphabets stand in one word: one of them was put in to hide it."""
    scripts = {unicodedata.name(letter, "").split(" ")[0] for letter in word if letter.isalpha()}
    return len(scripts & {"LATIN", "CYRILLIC", "GREEK"}) > 1
