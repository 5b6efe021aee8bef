# See CMakeLists.txt beside this file.
file(REMOVE_RECURSE "${SCRATCH}")
file(MAKE_DIRECTORY "${SCRATCH}")

function(run)
  execute_process(COMMAND ${ARGN} RESULT_VARIABLE code OUTPUT_VARIABLE out ERROR_VARIABLE out)
  if(NOT code EQUAL 0)
    list(JOIN ARGN " " command)
    message(FATAL_ERROR "${command}\nfailed (${code}):\n${out}")
  endif()
  set(output "${out}" PARENT_SCOPE)
endfunction()

run(${CMAKE_COMMAND} --install "${BUILD}" --prefix "${SCRATCH}/prefix")
run(${CMAKE_COMMAND} -G "${GENERATOR}" -S "${OUTSIDE}" -B "${SCRATCH}/build"
  "-DCMAKE_PREFIX_PATH=${SCRATCH}/prefix" -DCMAKE_BUILD_TYPE=Release)
run(${CMAKE_COMMAND} --build "${SCRATCH}/build")

# The middle of a frame looks along its lens' axis; lens 1 looks back.
run("${SCRATCH}/build/project_a_ray" "${STARTER}")
message(STATUS "outside program says: ${output}")
if(NOT output MATCHES "lens 0 sees \\(0\\.000, 0\\.000, 1\\.000\\) at \\(1000\\.000, 1000\\.000\\) px")
  message(FATAL_ERROR "the outside program said:\n${output}")
endif()

# A broken template is refused with its line, not a crash.
file(WRITE "${SCRATCH}/broken.yaml" "format: seamwright-template\nversion: 1\nbody: [\n")
execute_process(COMMAND "${SCRATCH}/build/project_a_ray" "${SCRATCH}/broken.yaml"
  RESULT_VARIABLE code ERROR_VARIABLE complaint)
if(NOT code EQUAL 1 OR NOT complaint MATCHES "broken.yaml:4: ")
  message(FATAL_ERROR "a broken template gave ${code}: ${complaint}")
endif()

if(WITH_PROGRAM)
  set(program "${SCRATCH}/prefix/bin/seamwright")
  run("${program}" --version)
  message(STATUS "installed program says: ${output}")

  # A shot with near furniture, stitched by the outside program as by our own.
  set(demo "${SCRATCH}/demo")
  run("${program}" demo "${demo}" --frame 400 --no-panoramas --shots library_1)
  set(shot "${demo}/truth/body.template.yaml"
    "${demo}/frames/library_1_front.tif" "${demo}/frames/library_1_back.tif")
  run("${SCRATCH}/build/stitch_a_shot" ${shot} "${SCRATCH}/outside.tif")
  message(STATUS "outside program says: ${output}")
  if(NOT output MATCHES "^([0-9]+) x ([0-9]+) px, 1 pair of lenses joined by depth")
    message(FATAL_ERROR "the outside program said:\n${output}")
  endif()
  execute_process(COMMAND "${program}" stitch --template ${shot} --out "${SCRATCH}/own.tif"
    RESULT_VARIABLE code ERROR_VARIABLE said)
  if(NOT code MATCHES "^[02]$")  # 2: with a finding about what stands below
    message(FATAL_ERROR "the installed program gave ${code}: ${said}")
  endif()
  run(${CMAKE_COMMAND} -E compare_files "${SCRATCH}/outside.tif" "${SCRATCH}/own.tif")

  # What is refused is told in one line, and nothing is written.
  execute_process(COMMAND "${SCRATCH}/build/stitch_a_shot" "${demo}/truth/body.template.yaml"
    "${demo}/frames/library_1_front.tif" "${demo}/frames/nothing.tif" "${SCRATCH}/none.tif"
    RESULT_VARIABLE code ERROR_VARIABLE complaint)
  if(NOT code EQUAL 1 OR NOT complaint MATCHES "nothing.tif: " OR EXISTS "${SCRATCH}/none.tif")
    message(FATAL_ERROR "a missing frame gave ${code}: ${complaint}")
  endif()
endif()
