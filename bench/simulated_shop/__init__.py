"""A simulated shop: invented packs, customers and mistakes, for studies of the key engine.

Nothing here uses the engine's likelihoods: customers err by a process of their own (:mod:`habits`,
:mod:`misreading`), and :mod:`bayes` turns that very process round.
"""
