"""Remounting: new holes beside the holes of an earlier mount; after layout, numpy only."""
