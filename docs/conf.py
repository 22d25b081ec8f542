"""Settings of the documentation site; ``python -m sphinx -W docs build/site`` builds it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from docutils import nodes
from docutils.utils.math.latex2mathml import tex2mathml
from pygments.lexers.special import TextLexer

from wherewatt import __version__

if TYPE_CHECKING:
    from sphinx.application import Sphinx
    from sphinx.writers.html5 import HTML5Translator

project = "wherewatt"
author = "The wherewatt contributors"
project_copyright = author
version = release = __version__

extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon"]
nitpicky = False  # types of arrays are not documented; tests check the names of functions

myst_enable_extensions = ["attrs_inline", "colon_fence", "deflist", "dollarmath"]
myst_heading_anchors = 4

autodoc_typehints = "none"  # docstrings say shapes and units, which types do not
napoleon_google_docstring = False
napoleon_use_rtype = False

html_theme = "furo"
html_title = "wherewatt"
html_static_path = ["_static"]
html_css_files = ["site.css"]
html_copy_source = False
html_show_sphinx = False
html_math_renderer = "mathml"
default_role = "literal"  # as the docstrings use single backticks
pygments_style = "tango"
pygments_dark_style = "github-dark"


def inline_math(writer: HTML5Translator, node: nodes.math) -> None:
    """An equation within a sentence, as MathML, which browsers show without a script."""
    writer.body.append(tex2mathml(node.astext()))
    raise nodes.SkipNode


def block_math(writer: HTML5Translator, node: nodes.math_block) -> None:
    """An equation by itself; a wide one is scrolled on a small screen."""
    writer.body.append(f'<div class="equation">{tex2mathml(node.astext(), as_block=True)}</div>')
    raise nodes.SkipNode


def house_style(_app: Sphinx, *about: Any) -> None:
    """Docstrings as they are written here, in the form that the site's tools expect.

    "name : what it is" has no type, and |v| is the size of v.
    """
    lines: list[str] = about[-1]
    written = "\n".join(lines).replace("|", r"\|")
    head, rule, rest = written.partition("Parameters\n----------\n")
    listed, end, after = rest.partition("\n\n")
    listed = re.sub(r"^(\w[\w, ]*) : (.*)$", r"\1\n    \2", listed, flags=re.MULTILINE)
    lines[:] = f"{head}{rule}{listed}{end}{after}".split("\n")


def setup(app: Sphinx) -> dict[str, Any]:
    """Register the equations: the usual way would load a script from the network."""
    app.add_html_math_renderer("mathml", (inline_math, None), (block_math, None))
    app.connect("autodoc-process-docstring", house_style, priority=400)  # before napoleon
    app.add_lexer("csv", TextLexer)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
