# The headers' plain comments as doxygen wants them, for its INPUT_FILTER
/SPDX-License-Identifier/d
# the second line says what the header is about
2s|^/\* *|/** @file\
 * |
2b
/^#/b
/^\/\* ----/b
# "name    what it is" becomes an item of a list
s|^\( *\* \)\([a-z][a-zA-Z0-9_, ]*[a-zA-Z0-9_]\)    *\([^ ].*\)|\1- \2: \3|
s|^\( *\)/\*|\1/**|
t
s|\([^ ].*\)/\* |\1/**< |
