# Completion of torpor and torpord for bash; install it as
# /usr/share/bash-completion/completions/torpor and link torpord to it.

_torpor_options() {
  case "$1" in
    jars | places | sensors) echo "--json" ;;
    jar) echo "--from --to --every --json --csv --html" ;;
    choose) echo "--stage --need --json" ;;
    label) echo "--svg" ;;
    alerts) echo "--all --json" ;;
    tell) echo "--by --json" ;;
    listen) echo "--for --count" ;;
    import) echo "--sensor --columns --zone --by --json" ;;
    rehearse) echo "--rules --from --to --json" ;;
    export) echo "--sensor --from --to --every --csv --senml" ;;
    air) echo "--pressure --json" ;;
    sugar) echo "--rice --raw --cooked --sugar --kind --temperature --json" ;;
    *) echo "--version" ;;
  esac
}

# Ids of the jars, from the history; nothing where it cannot be read.
_torpor_jar_ids() {
  torpor jars --json 2> /dev/null | grep -o '"jar": *"[A-Za-z0-9_-]*"' | sed 's/.*"\([^"]*\)"$/\1/'
}

_torpor() {
  local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD - 1]} command= i
  local commands="jars jar choose label places sensors alerts tell listen import export rehearse backup restore air sugar"
  COMPREPLY=()
  for ((i = 1; i < COMP_CWORD; ++i)); do
    if [[ ${COMP_WORDS[i]} == --config ]]; then
      ((++i))
    elif [[ ${COMP_WORDS[i]} != -* ]]; then
      command=${COMP_WORDS[i]}
      break
    fi
  done
  if [[ $before == --config || $before == --rules ]]; then
    COMPREPLY=($(compgen -f -- "$word"))
  elif [[ $word == -* ]]; then
    COMPREPLY=($(compgen -W "$(_torpor_options "$command") --config --help" -- "$word"))
  elif [[ -z $command ]]; then
    COMPREPLY=($(compgen -W "$commands" -- "$word"))
  elif [[ $before == --svg ]]; then
    COMPREPLY=($(compgen -f -- "$word"))
  elif [[ $command == label || $command == jar && $before == jar ]]; then
    COMPREPLY=($(compgen -W "$(_torpor_jar_ids)" -- "$word"))
  elif [[ $command == import && $before == import ]]; then
    COMPREPLY=($(compgen -W "readings jars" -- "$word"))
  elif [[ $command == import || $command == backup || $command == restore ]]; then
    COMPREPLY=($(compgen -f -- "$word"))
  fi
}

_torpord() {
  local word=${COMP_WORDS[COMP_CWORD]}
  if [[ ${COMP_WORDS[COMP_CWORD - 1]} == --config ]]; then
    COMPREPLY=($(compgen -f -- "$word"))
  else
    COMPREPLY=($(compgen -W "--config --check --new-history --version --help" -- "$word"))
  fi
}

_torpor_forward() {
  local word=${COMP_WORDS[COMP_CWORD]}
  case ${COMP_WORDS[COMP_CWORD - 1]} in
    --config | --to-file) COMPREPLY=($(compgen -f -- "$word")) ;;
    *) COMPREPLY=($(compgen -W "--config --to --to-file --every --once --version --help" -- "$word")) ;;
  esac
}

complete -F _torpor torpor
complete -F _torpor_forward torpor-forward
complete -F _torpord torpord
