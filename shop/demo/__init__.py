"""An invented shop to try Strokebook with: Tern Hollow Insulating, seven rigs, fourteen months.

Everything goes through the services that the pages call, each thing by the person whose work it
is and at the moment it would have happened, counted back from the day it is loaded. Drawn by a
generator of fixed seed: the same day gives the same shop.
"""
