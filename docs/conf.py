"""Sphinx settings."""

from heapwright import __version__

project = "Heapwright"
author = "The Heapwright authors"
copyright = "2026, the Heapwright authors"
release = version = __version__
extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon"]
myst_enable_extensions = ["deflist", "colon_fence", "dollarmath"]
myst_heading_anchors = 3
html_theme = "alabaster"
html_theme_options = {"description": "Compost heaps, planned, logged and honestly compared."}
html_static_path = ["_static"]
html_css_files = ["narrow.css"]
html_show_sourcelink = False
exclude_patterns = ["_build", "generate.py"]
suppress_warnings = ["myst.header"]
autodoc_typehints = "description"
nitpicky = False
