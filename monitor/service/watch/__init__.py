"""The running daemon: one worker, its inbox, the requests it takes, and the outbox."""
