"""Renderers: in each module one ``render`` makes text or bytes of rows or of a drawing;
no trade.
"""
