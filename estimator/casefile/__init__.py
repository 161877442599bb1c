"""The case file behind `estimator.case`: records, sense, agreement with the catalogue, text."""
