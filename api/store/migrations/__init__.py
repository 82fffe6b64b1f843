"""Migrations, run by alembic."""
