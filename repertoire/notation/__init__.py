"""Notation: read it, cut it, lay marks on it, draw it. music21 and Verovio, no Django."""
