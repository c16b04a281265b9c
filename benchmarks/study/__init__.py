"""How often each way of comparing finds an effect that is not there; how wide its ranges are."""
