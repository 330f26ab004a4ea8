"""A page for owners: how to take a photo that can be measured from, as PDF to hang up and HTML to send."""
