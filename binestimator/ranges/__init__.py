"""How sure the results are: draws of uncertain inputs through the model, percentiles and probabilities."""
