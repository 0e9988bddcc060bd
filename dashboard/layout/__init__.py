"""What do all pages share: frame, cards, forms, words?"""
