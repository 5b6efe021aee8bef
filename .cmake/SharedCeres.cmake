# Ceres::ceres, as the shared library.
#
# Debian's package describes the static one and all that it was built with (LAPACK, ATLAS, SuiteSparse).
# The shared library is the same code, brings its own needs, and is corrected by an upgrade of the system.

find_library(SEAMWRIGHT_SHARED_CERES NAMES ${CMAKE_SHARED_LIBRARY_PREFIX}ceres${CMAKE_SHARED_LIBRARY_SUFFIX})
get_target_property(SEAMWRIGHT_CERES_TYPE Ceres::ceres TYPE)
if(SEAMWRIGHT_SHARED_CERES AND SEAMWRIGHT_CERES_TYPE STREQUAL STATIC_LIBRARY)
  set_target_properties(Ceres::ceres PROPERTIES
    IMPORTED_LOCATION_RELEASE "${SEAMWRIGHT_SHARED_CERES}"
    INTERFACE_LINK_LIBRARIES "Threads::Threads;glog::glog;Eigen3::Eigen")
endif()
