# Rejects includes that point upward or sideways between modules:
#
#   cmake -DROOT=<project folder> -P cmake/check_layers.cmake
#
# The table below is the law; DEVELOPERS.md draws it. A new module is added here first.

cmake_minimum_required(VERSION 3.25)

set(modules base imaging projection features seams solver templates learning report compose finish demo cli)
set(base_may_use "")
set(imaging_may_use base)
set(projection_may_use base)
set(features_may_use base imaging projection)
set(seams_may_use base imaging projection features)
set(solver_may_use base projection)
set(templates_may_use base imaging projection solver)
set(learning_may_use base imaging projection features solver templates)
set(report_may_use base imaging projection features solver templates learning)
set(compose_may_use base imaging projection features seams templates)
set(finish_may_use base imaging projection features compose)
set(demo_may_use base imaging projection templates)
set(cli_may_use base imaging projection features seams solver templates learning report compose finish demo)

set(violations "")
set(checked 0)
foreach(module IN LISTS modules)
  file(GLOB_RECURSE sources "${ROOT}/${module}/*.h" "${ROOT}/${module}/*.cc")
  foreach(source IN LISTS sources)
    file(STRINGS "${source}" includes REGEX "^[ \t]*#[ \t]*include[ \t]*\"")
    file(RELATIVE_PATH shown "${ROOT}" "${source}")
    math(EXPR checked "${checked} + 1")
    foreach(line IN LISTS includes)
      string(REGEX REPLACE "^[^\"]*\"([^\"]*)\".*$" "\\1" included "${line}")
      if(NOT included MATCHES "^([a-z]+)/")
        list(APPEND violations
          "${shown}: \"${included}\" is not written from the project's root")
        continue()
      endif()
      set(target ${CMAKE_MATCH_1})
      if(NOT target STREQUAL module AND NOT target IN_LIST ${module}_may_use)
        list(APPEND violations "${shown}: ${module} may not use ${target} (\"${included}\")")
      endif()
    endforeach()
  endforeach()
endforeach()

if(violations)
  list(JOIN violations "\n  " text)
  message(FATAL_ERROR "layers are broken:\n  ${text}\nmove the code down, or pass a value in")
endif()
if(checked EQUAL 0)
  message(FATAL_ERROR "no sources found under '${ROOT}'; give -DROOT=<project folder>")
endif()
message(STATUS "layers: ${checked} files, every include points down")
