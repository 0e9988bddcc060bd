"""What does a programme need on its first day: forms to fill in, a diary to print, a policy?"""

from analysis.starter.kit import Kit, kit_files, zipped
from analysis.starter.texts import Texts, TextsError, load_texts, texts_in_english

__all__ = ["Kit", "Texts", "TextsError", "kit_files", "load_texts", "texts_in_english", "zipped"]
