// Not compiled: a message for the check of the documents.
const char* const kMessage =
    "the words go on {} "
    "in the next line";
