# seamwright_module(NAME [LIGHT] SOURCES ... [HEADERS ...] [PUBLIC ...] [PRIVATE ...]
#                   [PRECOMPILE ...])
#
# One folder is one library `seamwright_NAME`, alias `seamwright::NAME`. HEADERS lists the public
# ones, which other modules may include, and which are installed under include/seamwright as they lie
# here; all others are the module's own (check_layers.cmake). PRECOMPILE lists heavy outside headers.
# A LIGHT one has no inner loops over pixels or ties: -O1 halves the time it takes to build.

find_program(SEAMWRIGHT_CCACHE ccache)
if(SEAMWRIGHT_CCACHE)
  set(CMAKE_CXX_COMPILER_LAUNCHER "${SEAMWRIGHT_CCACHE}")
endif()

add_library(seamwright_build_flags INTERFACE)
target_compile_features(seamwright_build_flags INTERFACE cxx_std_20)
target_compile_options(seamwright_build_flags INTERFACE
  -Wall -Wextra -Wpedantic -Wconversion
  $<$<BOOL:${SEAMWRIGHT_WARNINGS_AS_ERRORS}>:-Werror>
  # Same bytes on every machine: no fused multiply-add contraction chosen by the compiler.
  -ffp-contract=off
  $<$<BOOL:${SEAMWRIGHT_CCACHE}>:-fpch-preprocess>)
# The preset `sanitize` names address errors and the kinds of undefined behaviour that a value can
# bring about. The rest (null, alignment, object-size, vptr) doubles the time it takes to compile
# Eigen; a null pointer is caught as an address error.
if(SEAMWRIGHT_SANITIZE)
  # GCC's flow analysis sees uninitialised values in its own <regex> once sanitizers are woven in; the
  # release build keeps that warning.
  target_compile_options(seamwright_build_flags INTERFACE
    -fsanitize=${SEAMWRIGHT_SANITIZE} -fno-sanitize-recover=all -fno-omit-frame-pointer
    -Wno-maybe-uninitialized)
  # Ceres is linked as Debian built it, with Eigen taking malloc as aligned already. Under sanitizers
  # Eigen's headers would think otherwise, and memory cross from one kind to the other.
  target_compile_definitions(seamwright_build_flags INTERFACE EIGEN_MALLOC_ALREADY_ALIGNED=1)
  target_link_options(seamwright_build_flags INTERFACE -fsanitize=${SEAMWRIGHT_SANITIZE})
endif()

# What comes later on the command line counts.
set(seamwright_light_options $<$<CONFIG:Release>:-O1>)

set_property(GLOBAL PROPERTY SEAMWRIGHT_MODULES "")

function(seamwright_module name)
  cmake_parse_arguments(arg "LIGHT" "" "SOURCES;HEADERS;PUBLIC;PRIVATE;PRECOMPILE" ${ARGN})
  set(target seamwright_${name})
  add_library(${target} STATIC ${arg_SOURCES} ${arg_HEADERS})
  add_library(seamwright::${name} ALIAS ${target})
  set_target_properties(${target} PROPERTIES EXPORT_NAME ${name})
  target_compile_features(${target} PUBLIC cxx_std_20)
  target_include_directories(${target} PUBLIC
    $<BUILD_INTERFACE:${PROJECT_SOURCE_DIR}>
    $<INSTALL_INTERFACE:${CMAKE_INSTALL_INCLUDEDIR}/seamwright>)
  target_link_libraries(${target} PUBLIC ${arg_PUBLIC} PRIVATE ${arg_PRIVATE})
  target_link_libraries(${target} PRIVATE $<BUILD_INTERFACE:seamwright_build_flags>)
  if(arg_LIGHT)
    target_compile_options(${target} PRIVATE ${seamwright_light_options})
  endif()
  if(arg_PRECOMPILE)
    target_precompile_headers(${target} PRIVATE ${arg_PRECOMPILE})
  endif()
  file(RELATIVE_PATH folder ${PROJECT_SOURCE_DIR} ${CMAKE_CURRENT_SOURCE_DIR})
  foreach(header IN LISTS arg_HEADERS)
    cmake_path(GET header PARENT_PATH below)
    install(FILES ${header} DESTINATION ${CMAKE_INSTALL_INCLUDEDIR}/seamwright/${folder}/${below})
  endforeach()
  set_property(GLOBAL APPEND PROPERTY SEAMWRIGHT_MODULES ${target})
endfunction()

function(seamwright_install_package)
  include(CMakePackageConfigHelpers)
  get_property(modules GLOBAL PROPERTY SEAMWRIGHT_MODULES)
  install(TARGETS ${modules} EXPORT seamwright ARCHIVE DESTINATION ${CMAKE_INSTALL_LIBDIR})
  set(destination ${CMAKE_INSTALL_LIBDIR}/cmake/seamwright)
  install(EXPORT seamwright NAMESPACE seamwright:: DESTINATION ${destination})
  configure_package_config_file(${PROJECT_SOURCE_DIR}/.cmake/seamwright-config.cmake.in
    ${PROJECT_BINARY_DIR}/seamwright-config.cmake INSTALL_DESTINATION ${destination})
  write_basic_package_version_file(${PROJECT_BINARY_DIR}/seamwright-config-version.cmake
    COMPATIBILITY SameMinorVersion)
  install(FILES ${PROJECT_BINARY_DIR}/seamwright-config.cmake
    ${PROJECT_BINARY_DIR}/seamwright-config-version.cmake
    ${PROJECT_SOURCE_DIR}/.cmake/SharedCeres.cmake DESTINATION ${destination})
endfunction()

# seamwright_test(NAME [SLOW] [LONG] SOURCES ... [LINK ...] [PRECOMPILE ...]
#                 [LABEL unit|end-to-end])
#
# One Catch2 program, `test_NAME`. The checks build unit tests (the default; target `unit_tests`)
# and run them under the sanitizers only, and end-to-end tests, which run the program or whole
# jobs, in the release build only (target `end_to_end_tests`). A SLOW one starts first, so that
# nothing waits for it at the end. What a LONG one tags [long], which repeats one thing to count how
# often it holds, runs in the release build instead. Eight sources are compiled at a time: names in
# anonymous namespaces are unique in their program.
add_custom_target(unit_tests)
add_custom_target(end_to_end_tests)

# seamwright_study(NAME SOURCES ... LINK ...)
#
# A long measurement, `study_NAME`: the checks build all of them (target `studies`), `./bootstrap
# study` runs them.
add_custom_target(studies)
function(seamwright_study name)
  cmake_parse_arguments(arg "" "" "SOURCES;LINK" ${ARGN})
  set(target study_${name})
  add_executable(${target} EXCLUDE_FROM_ALL ${arg_SOURCES})
  target_include_directories(${target} PRIVATE ${PROJECT_SOURCE_DIR})
  target_link_libraries(${target} PRIVATE ${arg_LINK} seamwright_build_flags)
  target_compile_options(${target} PRIVATE ${seamwright_light_options})
  set_target_properties(${target} PROPERTIES UNITY_BUILD OFF)
  add_dependencies(studies ${target})
endfunction()

function(seamwright_test name)
  cmake_parse_arguments(arg "SLOW;LONG" "LABEL" "SOURCES;LINK;PRECOMPILE" ${ARGN})
  if(NOT arg_LABEL)
    set(arg_LABEL unit)
  endif()
  set(target test_${name})
  add_executable(${target} ${arg_SOURCES})
  target_link_libraries(${target} PRIVATE seamwright_test_main ${arg_LINK} seamwright_build_flags)
  target_compile_options(${target} PRIVATE ${seamwright_light_options})
  if(arg_PRECOMPILE)
    target_precompile_headers(${target} PRIVATE <catch2/catch.hpp> ${arg_PRECOMPILE})
  else()
    target_precompile_headers(${target} REUSE_FROM seamwright_test_header)
  endif()
  set_target_properties(${target} PROPERTIES UNITY_BUILD_BATCH_SIZE 8)
  set(names ${name})
  if(arg_LONG)
    add_test(NAME ${name} COMMAND ${target} "~[long]")
    add_test(NAME ${name}_long COMMAND ${target} "[long]")
    add_dependencies(end_to_end_tests ${target})
    list(APPEND names ${name}_long)
  else()
    add_test(NAME ${name} COMMAND ${target})
  endif()
  set_tests_properties(${names} PROPERTIES
    LABELS end-to-end
    ENVIRONMENT "SEAMWRIGHT_SHARED_DATA=${SEAMWRIGHT_SHARED_DATA};SEAMWRIGHT_PROGRAM=${CMAKE_BINARY_DIR}/seamwright"
    SKIP_RETURN_CODE 77)
  set_tests_properties(${name} PROPERTIES LABELS ${arg_LABEL})
  if(arg_SLOW)
    set_tests_properties(${names} PROPERTIES COST 100)
  endif()
  if(arg_LABEL STREQUAL "unit")
    add_dependencies(unit_tests ${target})
  else()
    add_dependencies(end_to_end_tests ${target})
  endif()
endfunction()
