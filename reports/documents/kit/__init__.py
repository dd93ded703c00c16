"""The layout kit: every document is made of these blocks and draws nothing by hand.

`look` says how things look, `text` cleans and breaks text, `blocks` and `table` hold the building blocks,
`charts` the graphics, `page` lays the blocks out on pages and makes the file. Blocks are laid out first
and drawn afterwards, so the number of pages is known before the first line is written.
"""
