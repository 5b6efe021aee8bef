# Bundles the page into PAGE_CC; without npm or its registry, an empty page and a warning (with CI=true
# a failure: nobody would test the page):
#
#   cmake -DPAGE=<this folder> -DWORK=<scratch> -DPAGE_CC=<out> -DNONE=<empty page> -DNPM=… -DNODE=…
#         -P build_page.cmake
file(MAKE_DIRECTORY "${WORK}")
foreach(file package.json package-lock.json tsconfig.json)
  configure_file("${PAGE}/${file}" "${WORK}/${file}" COPYONLY)
endforeach()
file(REMOVE_RECURSE "${WORK}/src")
file(COPY "${PAGE}/src" DESTINATION "${WORK}")

# What is installed already for this very lock file is not installed again.
file(SHA256 "${WORK}/package-lock.json" lock)
set(installed "")
if(EXISTS "${WORK}/node_modules/.lock-sha256")
  file(READ "${WORK}/node_modules/.lock-sha256" installed)
endif()
if(NOT installed STREQUAL lock)
  execute_process(COMMAND "${NPM}" ci --ignore-scripts --no-audit --no-fund --loglevel=error
    WORKING_DIRECTORY "${WORK}" RESULT_VARIABLE code OUTPUT_VARIABLE out ERROR_VARIABLE out)
  if(NOT code EQUAL 0 AND "$ENV{CI}" STREQUAL "true")
    message(FATAL_ERROR "npm could not install what the workbench page is built with:\n${out}")
  elseif(NOT code EQUAL 0)
    message(WARNING "npm could not install what the workbench page is built with; the program is "
      "built without the page:\n${out}")
    configure_file("${NONE}" "${PAGE_CC}" COPYONLY)
    return()
  endif()
  file(WRITE "${WORK}/node_modules/.lock-sha256" "${lock}")
endif()

function(run)
  execute_process(COMMAND ${ARGN} WORKING_DIRECTORY "${WORK}"
    RESULT_VARIABLE code OUTPUT_VARIABLE out ERROR_VARIABLE out)
  if(NOT code EQUAL 0)
    message(FATAL_ERROR "the workbench page does not build:\n${out}")
  endif()
endfunction()
run("${NODE}" node_modules/typescript/bin/tsc)
run(node_modules/.bin/esbuild src/main.ts --bundle --minify --target=es2020 --format=iife
  --outfile=page.js --log-level=error)
run("${NODE}" "${PAGE}/embed.mjs" "${PAGE_CC}"
  / text/html "${PAGE}/index.html"
  /page.css text/css "${PAGE}/page.css"
  /page.js text/javascript "${WORK}/page.js")
