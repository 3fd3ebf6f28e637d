"""A few pages made with the common face, so that it can be tested over HTTP."""
