"""The gate on the network: who is signed in, what each role may, the pages to sign in and out."""
