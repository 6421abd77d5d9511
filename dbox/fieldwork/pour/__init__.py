"""The pour test: what each outlet should give, and what explains it when it does not."""
