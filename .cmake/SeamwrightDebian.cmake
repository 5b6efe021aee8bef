# The Debian package: program with its page, libraries, man pages, completion, desktop entry.
#
#   cmake --build build --target package_pages && cd build && cpack -G DEB
#
# What the program loads becomes the package's dependencies (dpkg-shlibdeps). The pages are made from
# the program's own --help, so `cmake --install` without them installs all the rest.

set(pages ${PROJECT_BINARY_DIR}/package_pages)
add_custom_target(package_pages
  COMMAND ${SEAMWRIGHT_BASH} ${PROJECT_SOURCE_DIR}/.cmake/package/pages.sh
    $<TARGET_FILE:seamwright_program> ${pages} ${PROJECT_VERSION}
  VERBATIM)
add_dependencies(package_pages seamwright_program)

install(DIRECTORY ${pages}/man1 DESTINATION ${CMAKE_INSTALL_MANDIR} OPTIONAL)
install(DIRECTORY ${pages}/completion/
  DESTINATION ${CMAKE_INSTALL_DATADIR}/bash-completion/completions OPTIONAL)
install(FILES ${PROJECT_SOURCE_DIR}/.cmake/package/seamwright.desktop
  DESTINATION ${CMAKE_INSTALL_DATADIR}/applications)
install(PROGRAMS ${PROJECT_SOURCE_DIR}/.cmake/package/open_folder
  DESTINATION ${CMAKE_INSTALL_LIBEXECDIR}/seamwright)
install(FILES ${PROJECT_SOURCE_DIR}/NOTICE ${PROJECT_SOURCE_DIR}/LICENSE ${PROJECT_SOURCE_DIR}/README.md
  DESTINATION ${CMAKE_INSTALL_DATADIR}/doc/seamwright)
install(FILES ${PROJECT_SOURCE_DIR}/NOTICE DESTINATION ${CMAKE_INSTALL_DATADIR}/doc/seamwright
  RENAME copyright)
# Libraries that are loaded come with their own packages; those that are compiled in bring their
# notices here (NOTICE says which they are).
file(STRINGS ${PROJECT_SOURCE_DIR}/NOTICE compiled_in REGEX "^  [^ ]+ +headers ")
foreach(line IN LISTS compiled_in)
  string(REGEX REPLACE "^  ([^ ]+) .*$" "\\1" package "${line}")
  install(FILES /usr/share/doc/${package}/copyright
    DESTINATION ${CMAKE_INSTALL_DATADIR}/doc/seamwright/compiled-in
    RENAME ${package}.copyright OPTIONAL)
endforeach()

set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME seamwright)
set(CPACK_PACKAGE_VERSION ${PROJECT_VERSION})
set(CPACK_PACKAGE_CONTACT "Seamwright <seamwright@seamwright.example>")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "Stitches the pictures of multi-lens fisheye bodies")
set(CPACK_PACKAGE_DESCRIPTION
  "Learns a body with two or more fisheye lenses from its own shots, and joins their frames into 16-bit equirectangular panoramas.")
set(CPACK_PACKAGE_DIRECTORY ${PROJECT_BINARY_DIR}/package)
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_SECTION graphics)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_PACKAGE_RECOMMENDS xdg-utils)
set(CPACK_DEBIAN_PACKAGE_SUGGESTS
  "libceres-dev, libopencv-dev, libeigen3-dev, libexpected-dev, libfmt-dev, libhwy-dev, libtbb-dev")
include(CPack)
