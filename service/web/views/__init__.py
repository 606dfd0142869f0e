"""What each page shows: values in, a frozen context out."""
