# SPDX-License-Identifier: GPL-3.0-or-later
# Completion of all dutywright programs under bash. What there is to complete the programs say themselves: options and
# keys come from --help, the words that an option takes from the refusal of an empty one, channels from dw-table.

# Names of the channels of the tables among the words as typed, whatever wrote them. The beginning of a file will do.
_dutywright_channels() {
    local file from
    from=${COMP_WORDS[0]%dw-*}
    for file in "$@"; do
        file=${file//[\"\'\\]/}
        [[ $file == '~/'* ]] && file=$HOME/${file#'~/'}
        [[ -f $file && -r $file ]] || continue
        head -c 65536 -- "$file" 2>/dev/null | "${from}dw-table" --partial --text 2>/dev/null |
            LC_ALL=C sed -n '/^# columns: /{ s/^# columns: *[^ ]* *//; s/\[[^] ]*\]//g; s/ [^ ]*'"'"'//g; y/ /\n/; p; q; }'
    done
}

# The lines of --help about one option.
_dutywright_about() {
    sed -n "/^ *$1=/,/^ *\(-., \)\?--\|^\$/{ /^ *$1=/p; /^ *\(-., \)\?--\|^\$/!p; }" <<<"$2"
}

_dutywright() {
    local program=$1 load=() word=${COMP_WORDS[COMP_CWORD]} line=${COMP_LINE:0:COMP_POINT}
    local typed option= argument= help= words= tail= offer IFS=$' \t\n'
    local -a before offers
    # what was typed of this word as the shell will see it; bash has cut it at each = and :
    typed=${line##*[[:space:]]} line=${line%"${line##*[[:space:]]}"}
    [[ $word == [=:] ]] && word=
    if [[ $typed == --*=* ]]; then
        option=${typed%%=*} typed=${typed#*=}
    else
        read -ra before <<<"$line"
        option=${before[${#before[@]} - 1]}
        [[ $option == --?* && $option != *=* ]] || option=
    fi
    COMPREPLY=()
    if [[ $program == *dw-loop && $line == *" -- "* ]]; then # behind it stands a load's own line
        read -r words _ <<<"${line#* -- }"
        load=(-- "$words")
        words=
        [[ -n ${load[-1]} ]] || words=$("$program" "${load[@]}" 2>&1 | sed -n 's/.* the loads are //; s/,//gp')
    fi
    help=$("$program" "${load[@]}" --help 2>/dev/null) || [[ -n $words ]] || return 0

    [[ -n $option ]] && argument=$(sed -n "s/^ *$option=\\([^ ]*\\).*/\\1/p" <<<"$help" | head -n 1)
    tail=${word##*,} # after a comma the next of a list
    case $argument in
    '')
        if [[ -n $words ]]; then
            :
        elif [[ $typed == -* ]]; then
            words=$(grep -o '^ *\(-., \)\?--[a-z0-9-]*' <<<"$help" | grep -o -e '--.*')
        elif [[ $help == "Usage: "*"[FILE"* ]]; then
            compopt -o filenames 2>/dev/null
            mapfile -t COMPREPLY < <(compgen -f -- "$word")
            return 0
        fi ;;
    FILE)
        compopt -o filenames 2>/dev/null
        mapfile -t COMPREPLY < <(compgen -f -- "$word")
        return 0 ;;
    NAME | NAMES | NAME,NAME | CHANNEL | CHANNELS)
        words=$(_dutywright_channels "${COMP_WORDS[@]:1}") ;;
    OLD=NEW | NAME=FACTOR)
        [[ $typed == *=* ]] || words=$(_dutywright_channels "${COMP_WORDS[@]:1}" | sed 's/$/=/') ;;
    KEYS)
        [[ ${typed##*,} == *=* ]] || words=$(_dutywright_about "$option" "$help" | sed 1s/=KEYS// | grep -o '\<[a-z][a-z-]*=' | awk '!seen[$0]++') ;;
    SPAN)
        [[ $typed == *:* ]] || words='last last: all' ;;
    WHICH)
        words='E3 E6 E12 E24 E48 E96 E192'
        compopt -o filenames 2>/dev/null
        mapfile -t COMPREPLY < <(compgen -f -- "$word") ;;
    esac
    # none of these, or a NAME that is no channel: one of a few words
    [[ -n $words || -z $argument ]] || words=$("$program" "${load[@]}" "$option=" 2>&1 </dev/null |
        sed -n "s/^\\([^ ]*: \\)*$option: '': must be \\(\\([^ ,;]*, \\)*[^ ,;]*\\( or [^ ,;]*\\)\\?\\)\$/\\2/p" |
        sed 's/ or /\n/; s/, /\n/g; s/=[A-Z]*/=/g')
    read -rd '' -a offers <<<"$words"
    for offer in "${offers[@]}"; do
        [[ $offer == "$tail"* ]] || continue
        [[ $argument == KEYS && ,$typed == *,"$offer"* ]] && continue # given already
        COMPREPLY+=("${word%"$tail"}$offer")
        [[ $offer == *[=:] ]] && compopt -o nospace 2>/dev/null
    done
    return 0
}

# installed under the name of each program, where bash-completion looks for it
complete -F _dutywright "${BASH_SOURCE[0]##*/}"
