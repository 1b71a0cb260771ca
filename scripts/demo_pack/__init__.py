"""The demo pack's data and the rules that spread it over articles and fitments. Everything here is"
" invented."""
