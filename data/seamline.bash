# SPDX-License-Identifier: GPL-3.0-or-later
# Completion for bash. What may come next is for the program to say, which knows its options and the
# journal's singers. Where it wants a file, bash completes files.
_seamline() {
    local kind line current=${COMP_WORDS[COMP_CWORD]}
    COMPREPLY=()
    {
        read -r kind || return
        while IFS= read -r line; do
            # Inside quotes bash sees to the rest.
            if [[ $current == [\"\']* || $line != *[!a-zA-Z0-9_.,=-]* ]]; then
                COMPREPLY+=("$line")
            else
                COMPREPLY+=("$(printf %q "$line")")
            fi
        done
    } < <("${COMP_WORDS[0]/#\~/$HOME}" complete -- "${COMP_WORDS[@]:1:COMP_CWORD}" 2>/dev/null)
    [ "$kind" = files ] || compopt +o default 2>/dev/null
    return 0
}
complete -o default -F _seamline seamline
