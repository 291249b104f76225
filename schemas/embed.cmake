# dwell_embed(OUT namespace function folder pattern...): makes a C++ file that holds the text of every
# file matching the patterns below the folder, as
#   namespace { std::span<const std::pair<std::string_view, std::string_view>> function(); }
# pairs of path (relative to the folder) and text. OUT is set to the file's name.
function(dwell_embed out namespace function folder)
  set(files)
  foreach(pattern ${ARGN})
    file(GLOB found CONFIGURE_DEPENDS RELATIVE ${folder} ${folder}/${pattern})
    list(APPEND files ${found})
  endforeach()
  list(REMOVE_DUPLICATES files)
  set(target ${CMAKE_CURRENT_BINARY_DIR}/${out}.cc)
  set(depends)
  foreach(file ${files})
    list(APPEND depends ${folder}/${file})
  endforeach()
  add_custom_command(
    OUTPUT ${target}
    COMMAND ${CMAKE_COMMAND} -DTARGET=${target} -DNAMESPACE=${namespace} -DFUNCTION=${function}
      -DFOLDER=${folder} "-DFILES=${files}" -P ${PROJECT_SOURCE_DIR}/schemas/embed_write.cmake
    DEPENDS ${depends} ${PROJECT_SOURCE_DIR}/schemas/embed_write.cmake
    VERBATIM)
  set(${out} ${target} PARENT_SCOPE)
endfunction()
