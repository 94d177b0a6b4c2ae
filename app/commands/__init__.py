"""What a user can do, as data, and how it is carried out."""
