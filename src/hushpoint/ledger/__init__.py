"""The journal and its stores. Opening is `open_ledger`; the contract is `records.Ledger`."""
