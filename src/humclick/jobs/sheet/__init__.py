"""The job sheet: for the customer, for the technician, for the parts counter."""
