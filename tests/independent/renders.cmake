# Pictures of the room by POV-Ray, rendered once and again when the scene changes. All of them:
#
#   independent_renders(OUT_FILES)
#
# and those of the hard room:
#
#   independent_hard_renders(OUT_FILES)

set(renders_dir ${CMAKE_CURRENT_BINARY_DIR}/renders)
file(MAKE_DIRECTORY ${renders_dir})

# independent_render(NAME SCENE WIDTH HEIGHT DECLARATION…): appends to `renders`. Edges are smooth
# where `smooth_edges` is set; else one ray a pixel.
macro(independent_render name scene width height)
  set(edges -A)
  if(smooth_edges)
    set(edges +A0.15 +R2)
  endif()
  set(declarations "")
  foreach(declaration ${ARGN})
    list(APPEND declarations Declare=${declaration})
  endforeach()
  add_custom_command(
    OUTPUT ${renders_dir}/${name}.exr
    COMMAND ${POVRAY} ${scene} +FE -D ${edges} -GA +WT1 +W${width} +H${height} ${declarations}
      +O${renders_dir}/${name}.exr > ${renders_dir}/${name}.log 2>&1
    WORKING_DIRECTORY ${CMAKE_CURRENT_SOURCE_DIR}
    DEPENDS ${scene} stands.inc view.inc surfaces.inc
    COMMENT "Rendering ${name}" VERBATIM)
  list(APPEND renders ${renders_dir}/${name}.exr)
endmacro()

function(independent_renders out)
  set(renders "")
  foreach(stand 1 2 3 4)
    foreach(view 0 1)
      independent_render(stand${stand}_lens${view} room.pov 1500 1500
        Stand=${stand} View=${view} Depth=0)
    endforeach()
  endforeach()
  foreach(stand 1 2)
    independent_render(stand${stand}_ideal room.pov 2400 1200 Stand=${stand} View=2 Depth=0)
    independent_render(stand${stand}_depth room.pov 1200 600 Stand=${stand} View=2 Depth=1)
  endforeach()
  independent_render(marks_fisheye marks.pov 1600 1600 View=0 Depth=0)
  independent_render(marks_panorama marks.pov 3000 1500 View=1 Depth=0)
  independent_render(marks_depth marks.pov 1500 750 View=1 Depth=1)
  set(${out} ${renders} PARENT_SCOPE)
endfunction()

function(independent_hard_renders out)
  set(renders "")
  set(smooth_edges TRUE) # thin things, seen from afar
  foreach(stand 5 6 7)
    foreach(view 0 1)
      independent_render(stand${stand}_lens${view} hard_room.pov 1500 1500
        Stand=${stand} View=${view} Depth=0)
    endforeach()
    independent_render(stand${stand}_ideal hard_room.pov 2400 1200 Stand=${stand} View=2 Depth=0)
    independent_render(stand${stand}_depth hard_room.pov 1200 600 Stand=${stand} View=2 Depth=1)
  endforeach()
  set(${out} ${renders} PARENT_SCOPE)
endfunction()
