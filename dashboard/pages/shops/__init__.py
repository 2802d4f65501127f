"""Page Shops: what only several shops together can tell, as they have published."""
