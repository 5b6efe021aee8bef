# Rejects includes that point upward or sideways between modules:
#
#   cmake -DROOT=<project folder> -P .cmake/check_layers.cmake
#
# The table below is the law; DEVELOPERS.md draws it. A new module is added here first.

cmake_minimum_required(VERSION 3.25)

set(modules
  base imaging projection features solver templates
  compose/seams compose/render compose/finish
  jobs/archive jobs/brackets jobs/look jobs/shot jobs/learning jobs/check jobs/restitch jobs/card
  apps/report apps/demo apps/workbench apps/cli)
set(base_may_use "")
set(jobs/archive_may_use base)
set(imaging_may_use base)
set(jobs/brackets_may_use base imaging)
set(jobs/look_may_use base imaging jobs/brackets)
set(projection_may_use base)
set(features_may_use base imaging projection)
set(compose/seams_may_use base imaging projection features)
set(solver_may_use base projection)
set(templates_may_use base imaging projection solver)
set(apps/report_may_use base imaging projection features solver templates jobs/learning)
set(compose/render_may_use base imaging projection features compose/seams templates)
set(compose/finish_may_use base imaging projection features compose/render)
set(jobs/shot_may_use base imaging jobs/brackets jobs/look projection features solver templates compose/seams compose/render compose/finish)
set(jobs/learning_may_use base imaging projection features solver templates jobs/shot)
set(jobs/check_may_use base imaging projection features compose/seams solver templates jobs/shot jobs/learning compose/render compose/finish)
set(jobs/restitch_may_use base jobs/archive imaging jobs/brackets jobs/look templates compose/finish jobs/shot jobs/check)
set(jobs/card_may_use base imaging jobs/brackets templates jobs/shot jobs/restitch)
set(apps/demo_may_use base imaging projection templates)
set(apps/workbench_may_use base jobs/shot imaging projection features compose/seams solver templates compose/render compose/finish jobs/check)
set(apps/cli_may_use base jobs/archive jobs/restitch jobs/card jobs/shot imaging jobs/brackets jobs/look projection features compose/seams solver templates jobs/learning apps/report compose/render compose/finish jobs/check apps/demo apps/workbench)

# module_of(PATH OUT): the module that a file belongs to; empty where there is none.
function(module_of path out)
  foreach(module IN LISTS modules)
    string(FIND "${path}" "${module}/" position)
    if(position EQUAL 0)
      set(${out} ${module} PARENT_SCOPE)
      return()
    endif()
  endforeach()
  set(${out} "" PARENT_SCOPE)
endfunction()

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
      module_of("${included}" target)
      if(target STREQUAL "")
        list(APPEND violations
          "${shown}: \"${included}\" is not written from the project's root")
      elseif(NOT target STREQUAL module AND NOT target IN_LIST "${module}_may_use")
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
