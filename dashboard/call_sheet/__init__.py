"""How are calls made from the printed list typed in afterwards, all families at once?"""
