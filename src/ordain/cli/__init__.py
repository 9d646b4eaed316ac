"""The commands, one module each, thin: arguments in, the pipeline called, findings shown, exit status out."""
