"""The drawings of Strokebook: plain values in, SVG or HTML text out.

No Django, no clock, no style attribute (the content policy forbids it): geometry is in attributes,
colour is in the classes of static/shop/drawing.css.
"""
