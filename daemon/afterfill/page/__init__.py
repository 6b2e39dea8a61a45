"""The page on the local network: reads the journal as a sink does, writes through its inbox."""
