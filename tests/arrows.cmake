# Fails when a file includes against the arrows of the house:
#   daemon -> config -> rules -> sensors; inside rules: watch -> standing ->
#   book, culture -> air; no room at all
#   includes tests. Run as: cmake -DSOURCE=<folder> -P arrows.cmake
set(may_include_sensors sensors)
set(may_include_rules_air sensors rules/air)
set(may_include_rules_book sensors rules/book)
set(may_include_rules_culture sensors rules/air rules/culture)
set(may_include_rules_standing sensors rules/book rules/culture rules/standing)
set(may_include_rules_watch
    sensors rules/air rules/book rules/culture rules/standing rules/watch)
set(may_include_config sensors rules config)
set(may_include_daemon_clock sensors daemon/clock)
set(may_include_daemon_command sensors rules config daemon/clock daemon/command daemon/history daemon/ledger
    daemon/link daemon/report daemon/service daemon/error.h)
set(may_include_daemon_forward sensors daemon/history daemon/forward daemon/error.h)
set(may_include_daemon_history sensors rules daemon/history daemon/error.h)
set(may_include_daemon_ledger sensors rules config daemon/history daemon/ledger daemon/error.h)
set(may_include_daemon_link sensors daemon/history daemon/link daemon/error.h)
set(may_include_daemon_report
    sensors rules config daemon/clock daemon/history daemon/ledger daemon/report daemon/error.h)
set(may_include_daemon_service sensors rules config daemon/clock daemon/history daemon/ledger daemon/link
    daemon/report daemon/service daemon/web daemon/error.h daemon/version.h)
set(may_include_daemon_web sensors rules config daemon/clock daemon/history daemon/ledger
    daemon/report daemon/web daemon/error.h)

set(wrong "")
set(files 0)
set(includes 0)
foreach(room sensors rules/air rules/book rules/culture rules/standing rules/watch config daemon/clock daemon/command
             daemon/forward daemon/history daemon/ledger daemon/link daemon/report daemon/service daemon/web)
  string(REPLACE "/" "_" key ${room})
  file(GLOB_RECURSE sources ${SOURCE}/${room}/*.h ${SOURCE}/${room}/*.cpp)
  foreach(source IN LISTS sources)
    math(EXPR files "${files} + 1")
    file(STRINGS ${source} lines REGEX "^#include \"")
    foreach(line IN LISTS lines)
      string(REGEX REPLACE "^#include \"([^\"]*)\".*" "\\1" included "${line}")
      math(EXPR includes "${includes} + 1")
      set(allowed FALSE)
      foreach(prefix IN LISTS may_include_${key})
        string(FIND "${included}" "${prefix}" at)
        if(at EQUAL 0)
          set(allowed TRUE)
        endif()
      endforeach()
      if(NOT allowed)
        string(APPEND wrong "\n  ${source} includes ${included}")
      endif()
    endforeach()
  endforeach()
endforeach()
if(files LESS 20 OR includes LESS 20)
  message(FATAL_ERROR "the scan found too little to mean anything: ${files} files")
endif()
if(wrong)
  message(FATAL_ERROR "includes against the arrows of the house:${wrong}")
endif()
message(STATUS "${files} files, ${includes} includes, all along the arrows")
