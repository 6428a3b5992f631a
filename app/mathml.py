r"""How does a formula that is written in a line become one that the browser sets?

The notation is a small part of TeX's: `\frac{a}{b}`, `\sqrt{a}`, `\sum_{n=0}^{N}`, `x_{k}`,
`x^{2}`, `\hat{x}`, `\text{words}`, Greek letters by name. Any other `\name` is a name of several
letters, set upright. `mathml` gives the markup, `spoken` the same formula in words, to be heard.
"""

import re
from dataclasses import dataclass
from html import escape

_TOKEN = re.compile(r"\\text\{[^}]*\}|\\[A-Za-z]+|\\[,;{}%]|\d+(?:\.\d+)?|[A-Za-z]|\S")
_LETTERS = {
    "alpha": "\u03b1", "gamma": "\u03b3", "delta": "\u03b4", "kappa": "\u03ba", "mu": "\u03bc",
    "nu": "\u03bd", "pi": "\u03c0", "rho": "\u03c1", "sigma": "\u03c3", "tau": "\u03c4",
    "phi": "\u03c6", "ell": "\u2113", "Sigma": "\u03a3",
}  # fmt: skip
_SIGNS = {  # by TeX's name: the sign, how it is spoken
    "cdot": ("\u22c5", "times"), "times": ("\u00d7", "times"), "le": ("\u2264", "at most"),
    "ge": ("\u2265", "at least"), "cdots": ("\u22ef", "and so on"),
    "pm": ("\u00b1", "plus or minus"),
    "%": ("%", "per cent"),
    "{": ("{", ""), "}": ("}", ""),
}  # fmt: skip
_LARGE = {"sum": ("\u2211", "the sum"), "int": ("\u222b", "the integral")}
_SPOKEN = {"=": "equals", "+": "plus", "-": "minus", "<": "below", ">": "above", "/": "over"}
_SPACES = {",": "0.17em", ";": "0.6em"}
_CLOSING = {"(": ")", "[": "]", "\\lfloor": "\\rfloor", "\\lceil": "\\rceil"}
_BRACKETS = {  # those that have a name: both signs, how they are spoken
    "\\lfloor": ("\u230a", "\u230b", "the whole part of"),
    "\\lceil": ("\u2308", "\u2309", "rounded up:"),
}


class FormulaError(ValueError):
    """A formula that cannot be read."""


@dataclass(frozen=True)
class _Set:
    """A part of a formula: its markup, and how it is spoken."""

    markup: str
    words: str
    large: bool = False  # a sum, whose limits stand below and above


def mathml(formula: str) -> str:
    r"""Return the markup of a formula in a line of its own.

    Parameters
    ----------
    formula : str
        The formula, as "P(n) = \frac{a}{b}".

    Raises
    ------
    FormulaError
        For a formula with a brace too many or too few.
    """
    return _framed(formula, ' display="block"')


def mathml_inline(formula: str) -> str:
    """Return the markup of a formula within a sentence.

    Parameters
    ----------
    formula : str
        The formula.
    """
    return _framed(formula, "")


def spoken(formula: str) -> str:
    """Return a formula in words.

    Parameters
    ----------
    formula : str
        The formula.
    """
    return re.sub(r"\s+", " ", _Reader(formula).all().words).strip()


def _framed(formula: str, more: str) -> str:
    told = escape(spoken(formula))
    markup = _Reader(formula).all().markup
    return f'<math{more} alttext="{told}" aria-label="{told}"><mrow>{markup}</mrow></math>'


class _Reader:
    """Reads a formula from left to right."""

    def __init__(self, formula: str) -> None:
        self.formula = formula
        self.tokens: list[str] = _TOKEN.findall(formula)
        self.at = 0

    def all(self) -> _Set:
        """The whole formula."""
        whole = self.run(None)
        if self.at < len(self.tokens):
            raise FormulaError(f"a closing brace too many: {self.formula}")
        return whole

    def run(self, closing: str | None) -> _Set:
        """All up to a closing bracket, which is left unread."""
        parts = []
        while self.at < len(self.tokens) and self.tokens[self.at] not in (closing, "}"):
            parts.append(self.with_scripts())
        return _Set("".join(p.markup for p in parts), " ".join(p.words for p in parts))

    def with_scripts(self) -> _Set:
        base, low, high = self.single(), None, None
        while self.at < len(self.tokens) and self.tokens[self.at] in "_^":
            sign = self.next()
            if sign == "_":
                low = self.single()
            else:
                high = self.single()
        if low is None and high is None:
            return base
        return _scripted(base, low, high)

    def single(self) -> _Set:
        """One letter, number, sign, or what stands between brackets."""
        token = self.next()
        if token == "{":
            inner = self.run("}")
            self.expect("}")
            return _Set(f"<mrow>{inner.markup}</mrow>", inner.words)
        if token in _CLOSING:
            inner = self.run(_CLOSING[token])
            end = self.expect(_CLOSING[token])
            begin, end, told = _BRACKETS.get(token, (token, end, ""))
            tall = any(f"<{each}" in inner.markup for each in ("mfrac", "munder"))
            kind = "" if tall else ' stretchy="false"'
            markup = f"<mrow><mo{kind}>{begin}</mo>{inner.markup}<mo{kind}>{end}</mo></mrow>"
            return _Set(markup, f"{told} {inner.words}" if told else f"{begin}{inner.words}{end}")
        if token.startswith("\\"):
            return self.named(token[1:])
        if token[0].isdigit():
            return _Set(f"<mn>{token}</mn>", token)
        if token.isalpha():
            return _Set(f"<mi>{token}</mi>", token)
        sign = "\u2212" if token == "-" else token
        return _Set(f"<mo>{escape(sign)}</mo>", _SPOKEN.get(token, token))

    def named(self, name: str) -> _Set:
        if name.startswith("text{"):
            words = name[5:-1]
            ends = re.sub(r"^ | $", "\u00a0", words)  # MathML drops plain blanks at the ends
            return _Set(f"<mtext>{escape(ends)}</mtext>", words)
        if name == "frac":
            over, under = self.single(), self.single()
            markup = f"<mfrac>{over.markup}{under.markup}</mfrac>"
            return _Set(markup, f"the fraction {over.words} over {under.words}, end of fraction,")
        if name == "sqrt":
            inner = self.single()
            return _Set(f"<msqrt>{inner.markup}</msqrt>", f"the root of {inner.words},")
        if name == "hat":
            inner = self.single()
            markup = f'<mover accent="true">{inner.markup}<mo>^</mo></mover>'
            return _Set(markup, f"estimated {inner.words}")
        if name in _LARGE:
            sign, words = _LARGE[name]
            return _Set(f"<mo>{sign}</mo>", words, large=True)
        if name in _SIGNS:
            sign, words = _SIGNS[name]
            return _Set(f"<mo>{escape(sign)}</mo>", words)
        if name in _SPACES:
            return _Set(f'<mspace width="{_SPACES[name]}"/>', "")
        letter = _LETTERS.get(name)
        return _Set(f"<mi>{letter or name}</mi>", name)

    def next(self) -> str:
        if self.at >= len(self.tokens):
            raise FormulaError(f"it ends too soon: {self.formula}")
        self.at += 1
        return self.tokens[self.at - 1]

    def expect(self, token: str) -> str:
        if self.at >= len(self.tokens) or self.tokens[self.at] != token:
            raise FormulaError(f"{token} is missing: {self.formula}")
        return self.next()


def _scripted(base: _Set, low: _Set | None, high: _Set | None) -> _Set:
    kind = ("munder", "mover", "munderover") if base.large else ("msub", "msup", "msubsup")
    if low and high:
        tag, inner = kind[2], low.markup + high.markup
    elif low:
        tag, inner = kind[0], low.markup
    else:
        tag, inner = kind[1], high.markup if high else ""
    if base.large:
        words = base.words + (f" over {low.words}" if low else "")
        words += f" up to {high.words} of" if high else " of"
    else:
        words = base.words + (f" sub {low.words}" if low else "")
        words += f" {_raised(high.words)}" if high else ""
    return _Set(f"<{tag}>{base.markup}{inner}</{tag}>", words)


def _raised(words: str) -> str:
    known = {"2": "squared", "plus": "where above 0, else 0,", "*": "star"}
    return known.get(words, f"to the power of {words}")
