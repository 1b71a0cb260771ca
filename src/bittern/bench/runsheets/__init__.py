"""The shop's own run sheets: versions, approval, and how one is written."""
