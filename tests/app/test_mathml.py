"""Does a formula in a line become the markup, and the words, that it means?"""

from xml.etree import ElementTree

import pytest

from app.mathml import FormulaError, mathml, mathml_inline, spoken
from app.words_method import CHAPTERS

FORMULAS = [
    formula
    for chapter in CHAPTERS
    for equation in chapter.equations
    for formula in (*equation.formulas, *(letter for letter, _ in equation.symbols))
]


@pytest.mark.parametrize(
    ("formula", "markup"),
    # Derived: by hand, from the elements of MathML Core.
    [
        ("x_k", "<msub><mi>x</mi><mi>k</mi></msub>"),
        ("x_{k}^2", "<msubsup><mi>x</mi><mrow><mi>k</mi></mrow><mn>2</mn></msubsup>"),
        (r"\frac{1}{2}", "<mfrac><mrow><mn>1</mn></mrow><mrow><mn>2</mn></mrow></mfrac>"),
        (r"\mu - 0.94", "<mi>\u03bc</mi><mo>\u2212</mo><mn>0.94</mn>"),
        (r"\text{a < b }", "<mtext>a &lt; b\u00a0</mtext>"),
        (r"\lceil x \rceil", '<mrow><mo stretchy="false">\u2308</mo><mi>x</mi>'
         '<mo stretchy="false">\u2309</mo></mrow>'),
        (r"\PB(n)", '<mi>PB</mi><mrow><mo stretchy="false">(</mo><mi>n</mi>'
         '<mo stretchy="false">)</mo></mrow>'),
        (r"\sum_{n=0}^N n", "<munderover><mo>\u2211</mo><mrow><mi>n</mi><mo>=</mo><mn>0</mn></mrow>"
         "<mi>N</mi></munderover><mi>n</mi>"),
    ],
)  # fmt: skip
def test_formula_is_set(formula, markup):
    """Scripts, fractions, sums, names and words become their elements."""
    assert f"<mrow>{markup}</mrow></math>" in mathml_inline(formula)


@pytest.mark.parametrize(
    ("formula", "words"),
    [
        (r"P_{-k}(n)", "P sub minus k (n)"),
        (r"\frac{a}{b} \le \hat{x}", "the fraction a over b, end of fraction, at most estimated x"),
        (r"\sum_{m=0}^{N} w(m)", "the sum over m equals 0 up to N of w (m)"),
        (r"(T - R)^{+}", "(T minus R) where above 0, else 0,"),
        ("x^2", "x squared"),
        (r"\lceil x / y \rceil", "rounded up: x over y"),
    ],
)
def test_formula_is_spoken(formula, words):
    """Whoever hears the page hears words, in the order of the signs."""
    assert spoken(formula) == words


@pytest.mark.parametrize("formula", ["a}", r"\frac{a}", "{a", "(a", "x_"])
def test_formula_with_a_wrong_brace_is_refused(formula):
    """What cannot be read is never set halfway."""
    with pytest.raises(FormulaError):
        mathml(formula)


@pytest.mark.parametrize("formula", FORMULAS)
def test_every_formula_of_the_page_is_well_formed(formula):
    """Each formula is whole markup with a text alternative, and no sign of the notation is left."""
    math = ElementTree.fromstring(mathml(formula))

    assert math.attrib["alttext"] == math.attrib["aria-label"] == spoken(formula)
    assert "\\" not in "".join(math.itertext())
    names = {each.text for each in math.iter("mi")}
    assert names <= {name for name in names if name}
