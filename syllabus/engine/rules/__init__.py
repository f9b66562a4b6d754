"""Requirements, and whether a record meets them: the only place that answers. No number of the law stands
here."""
