"""`dbox teach ...`: its commands and their text."""
