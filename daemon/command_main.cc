#include "daemon/command/command.h"

int main(int argc, char** argv) { return dwell::command::RunCommand({argv + 1, argv + argc}); }
