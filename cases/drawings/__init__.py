"""Drawings of teeth and clearances: plain data in, SVG text out.

One drawing serves the page and the printed work order, so every colour is a
presentation attribute (which the PDF reads) beside a class (which the page's
sheet restyles for dark mode). Nothing here uses a gradient, a pattern, a clip
or a style attribute: PDF/A checkers and the content security policy refuse
them. Every text is escaped here; callers pass it raw and already translated.
"""
