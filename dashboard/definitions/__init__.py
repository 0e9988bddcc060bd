"""How is each number calculated?"""
