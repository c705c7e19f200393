"""Delivery of the finished site: publishing, preview, and the permissions that the user grants."""
