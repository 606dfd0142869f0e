"""Tables, sessions, repositories, migrations: everything that knows SQL."""
