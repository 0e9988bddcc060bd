"""Is harm per 1000 home line-days changing, and where?"""
