#include "apps/cli/program.h"

int main(int argc, char** argv) {
  seamwright::open_standard_streams();
  seamwright::Program program;
  seamwright::add_learn(program);
  seamwright::add_stitch(program);
  seamwright::add_touch(program);
  seamwright::add_check(program);
  seamwright::add_import(program);
  seamwright::add_restitch(program);
  seamwright::add_merge(program);
  seamwright::add_finish(program);
  seamwright::add_tour(program);
  seamwright::add_inspect(program);
  seamwright::add_workbench(program);
  seamwright::add_demo(program);
  return program.run(argc, argv);
}
