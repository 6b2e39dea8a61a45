"""Disinfectant, ammonia and carbonate chemistry of fish tanks: pure functions with their sources.

One subject a module; numbers with source and status in constants, constants_fish, standards and
neutraliser_agents. A question outside a relation's range raises ModelDomainError.
"""
