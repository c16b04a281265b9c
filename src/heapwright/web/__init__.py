"""The local web app: pages and a JSON interface over the same services as the commands."""
