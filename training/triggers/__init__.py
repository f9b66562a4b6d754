"""The triggers by which the database itself keeps its rows, whoever writes: one installer, one checker.

Each module declares those of some tables, named as the database names them. Nothing here imports a model, so
the ledger's migrations and the models above may both import it.
"""
