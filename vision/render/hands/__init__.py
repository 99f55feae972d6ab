"""Whole shots drawn by other hands: scenes, produce, insects and what is mistaken for them, each written without sight of the others.

What is learned on one hand's drawings knows that hand; what is learned on several knows what they mean. Small
hands draw bodies and bits alone. Every hand draws at PX_PER_MM.
"""

PX_PER_MM = 20.0
