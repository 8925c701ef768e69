"""Room: pipeline.  Whatever is built: designed, drawn, written, verified, rendered."""
