"""How Sphinx makes the manual; `python docs/build.py` runs it."""

import sys
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1])]

from polefem import __version__  # noqa: E402  the folder goes on the path first

project = "polefem"
author = "the polefem authors"
version = release = __version__

extensions = ["myst_parser", "sphinx.ext.autodoc", "docstrings", "formulas"]
myst_enable_extensions = ["colon_fence", "deflist", "dollarmath"]
myst_heading_anchors = 3
exclude_patterns = ["made/help.txt", "reference/README.md"]
suppress_warnings = ["ref.python"]  # a name in backticks that several classes have

html_theme = "furo"
html_title = "polefem"
html_static_path = ["static"]
html_css_files = ["manual.css"]
html_math_renderer = "drawn"
html_show_sphinx = False
html_show_copyright = False
html_copy_source = False
html_permalinks_icon = "#"
html_theme_options = {"top_of_page_buttons": []}
pygments_style = "friendly"

# What pages refer to by role must be there. Types in signatures may be a room's own, and need not.
nitpicky = True
nitpick_ignore_regex = [("py:(obj|class)", ".*")]
# Docstrings name other parts in single backticks: a link where there is such a part, else just code.
default_role = "py:obj"
autodoc_member_order = "bysource"
autodoc_mock_imports = ["ezdxf"]  # of the optional group `cut`
autodoc_typehints_format = "short"
autodoc_class_signature = "separated"
autodoc_default_options = {"members": True}
# Where modules postpone their annotations, arrays keep the short name that those give them.
autodoc_type_aliases = dict.fromkeys(("Array", "Floats", "FloatArray"), "ndarray") | {
    "ArrayLike": "ArrayLike"
}
