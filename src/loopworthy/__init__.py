"""On what evidence is a closed-circuit rebreather and its diver ready for the water?"""

__version__ = "0.1.0"
