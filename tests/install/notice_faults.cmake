# Each fault put into a copy of NOTICE, or into what it is held against, is found and named by
# notice.cmake. Takes what that takes, and CHECK: notice.cmake itself, SCRATCH: a folder.
cmake_minimum_required(VERSION 3.25)
file(REMOVE_RECURSE "${SCRATCH}")
file(MAKE_DIRECTORY "${SCRATCH}/page/src")
configure_file("${PAGE}/package-lock.json" "${SCRATCH}/page/package-lock.json" COPYONLY)
file(GLOB sources "${PAGE}/src/*.ts")
file(COPY ${sources} DESTINATION "${SCRATCH}/page/src")

function(check notice bootstrap page)
  execute_process(COMMAND ${CMAKE_COMMAND} -DPROGRAM=${PROGRAM} -DNOTICE=${notice}
    -DBOOTSTRAP=${bootstrap} -DPAGE=${page} -P "${CHECK}"
    RESULT_VARIABLE code OUTPUT_VARIABLE out ERROR_VARIABLE out)
  set(code "${code}" PARENT_SCOPE)
  string(REGEX REPLACE "[ \n]+" " " out "${out}")  # messages come wrapped
  set(out "${out}" PARENT_SCOPE)
endfunction()

check("${NOTICE}" "${BOOTSTRAP}" "${PAGE}")
if(out MATCHES "skipped: ")
  message(STATUS "skipped: ${out}")
  return()
endif()
if(NOT code EQUAL 0)
  message(FATAL_ERROR "NOTICE as it is: ${out}")
endif()

set(faults 0)
function(require_found says)
  if(code EQUAL 0 OR NOT out MATCHES "${says}")
    message(FATAL_ERROR "not found: ${says}\nbut: ${out}")
  endif()
  math(EXPR faults "${faults} + 1")
  set(faults "${faults}" PARENT_SCOPE)
endfunction()

# `from`, a regular expression, becomes `to` in a copy of NOTICE.
function(require_notice_fault from to says)
  file(READ "${NOTICE}" text)
  string(REGEX REPLACE "${from}" "${to}" wrong "${text}")
  if(wrong STREQUAL text)
    message(FATAL_ERROR "not in NOTICE: ${from}")
  endif()
  file(WRITE "${SCRATCH}/NOTICE" "${wrong}")
  check("${SCRATCH}/NOTICE" "${BOOTSTRAP}" "${PAGE}")
  require_found("${says}")
  set(faults "${faults}" PARENT_SCOPE)
endfunction()
require_notice_fault("\n  libtiff\\.so\\.6[^\n]*" "" "loads libtiff\\.so\\.6, which NOTICE does not list.*libtiff6")
require_notice_fault("\n  libLerc\\.so\\.4" "\n  libNone.so.4    libnone4    MIT\n  libLerc.so.4"
  "lists libNone\\.so\\.4, which the program does not load")
require_notice_fault("libraw20( +)LGPL-2.1 or CDDL-1.0" "libraw20\\1MIT" "libraw_r\\.so\\.20 is said to be under 'MIT'.*LGPL-2.1")
require_notice_fault("( libpng16\\.so\\.16 +)libpng16-16" "\\1libtiff6" "libpng16\\.so\\.16 is of the package libpng16-16")
require_notice_fault("\n  libeigen3-dev[^\n]*" "" "built from libeigen3-dev, of which NOTICE says nothing")
require_notice_fault("three( +)[0-9.]+( +)MIT" "three\\10.1.0\\2MIT" "lock file has three .* NOTICE says 0\\.1\\.0")
require_notice_fault("\n  three +[0-9][^\n]*" "" "bundles three, which NOTICE does not list")

file(READ "${BOOTSTRAP}" script)
string(REPLACE "libtiff-dev" "libtiff-dev libnew-dev" script "${script}")
file(WRITE "${SCRATCH}/bootstrap" "${script}")
check("${NOTICE}" "${SCRATCH}/bootstrap" "${PAGE}")
require_found("built from libnew-dev, of which NOTICE says nothing")

file(WRITE "${SCRATCH}/page/src/more.ts" "import { x } from \"@new/thing/part\";\nimport { y } from './near';\n")
check("${NOTICE}" "${BOOTSTRAP}" "${SCRATCH}/page")
require_found("bundles @new/thing, which NOTICE does not list")

if(NOT faults EQUAL 9)
  message(FATAL_ERROR "${faults} faults were tried")
endif()
