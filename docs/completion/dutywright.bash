# SPDX-License-Identifier: GPL-3.0-or-later
# Completion of all dutywright programs under bash. What there is to complete the programs say themselves: options come
# from --help, the words that an option takes from the refusal of an empty one, channels from the header of the table.

# Names of the channels of the tables among the arguments. Headers are text in both encodings.
_dutywright_channels() {
    local file
    for file in "$@"; do
        [[ -f $file && -r $file ]] || continue
        head -c 65536 -- "$file" 2>/dev/null | tr -d '\000' |
            LC_ALL=C sed -n '/^# columns: /{ s/^# columns: *[^ ]* *//; s/\[[^] ]*\]//g; y/ /\n/; p; q; }'
    done
}

_dutywright() {
    local program=$1 word=${COMP_WORDS[COMP_CWORD]} before= help option= argument= words=
    ((COMP_CWORD > 0)) && before=${COMP_WORDS[COMP_CWORD - 1]}
    # bash parts --option=value into three words
    if [[ $word == = && $before == --* ]]; then
        option=$before word=
    elif [[ $before == = && COMP_CWORD -gt 1 && ${COMP_WORDS[COMP_CWORD - 2]} == --* ]]; then
        option=${COMP_WORDS[COMP_CWORD - 2]}
    elif [[ $before == --* ]]; then
        option=$before
    fi
    COMPREPLY=()
    help=$("$program" --help 2>/dev/null) || return 0

    [[ -n $option ]] && argument=$(sed -n "s/^ *$option=\\([^ ]*\\).*/\\1/p" <<<"$help" | head -n 1)
    if [[ -n $argument ]]; then
        case $argument in
        FILE)
            compopt -o filenames 2>/dev/null
            mapfile -t COMPREPLY < <(compgen -f -- "$word")
            return 0 ;;
        NAME | NAMES | NAME,NAME | CHANNEL | CHANNELS)
            words=$(_dutywright_channels "${COMP_WORDS[@]:1}") ;;
        esac
        [[ -n $words ]] || words=$("$program" "$option=" 2>&1 </dev/null |
            sed -n "s/^[^ ]*: $option: '': must be \\([^;]*\\).*/\\1/p" | sed 's/ or /\n/; s/, /\n/g')
        # after a comma the next of a list
        local head=
        [[ $word == *,* ]] && head=${word%,*},
        mapfile -t COMPREPLY < <(compgen -P "$head" -W "$words" -- "${word##*,}")
    elif [[ $word == -* ]]; then
        words=$(grep -o '^ *\(-., \)\?--[a-z0-9-]*' <<<"$help" | grep -o -e '--.*')
        mapfile -t COMPREPLY < <(compgen -W "$words" -- "$word")
    elif [[ $help == "Usage: "*"[FILE"* ]]; then
        compopt -o filenames 2>/dev/null
        mapfile -t COMPREPLY < <(compgen -f -- "$word")
    fi
}

complete -F _dutywright dw-choose dw-coil dw-measure dw-motor dw-plot dw-pwm dw-smooth dw-spectrum dw-switch dw-table dw-timer
