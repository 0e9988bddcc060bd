"""Who may ask what: people who sign in, own address only, own pages only, no code from elsewhere."""
