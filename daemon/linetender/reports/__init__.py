"""What a person looks at afterwards: facts of a session, pages, tables. Decides nothing."""
