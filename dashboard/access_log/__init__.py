"""Who opened which family, and what did they do?"""
