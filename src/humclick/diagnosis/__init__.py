"""Judgement: suspects, likelihoods, the next probe, the verdict and its reasons."""
