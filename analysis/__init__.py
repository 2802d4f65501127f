"""All studies of one week, over methods that know no shop and studies that put its questions to them."""
