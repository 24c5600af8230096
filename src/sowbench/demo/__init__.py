"""The invented nursery that shows the whole job."""
