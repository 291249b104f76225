#include "daemon/app/run.h"
#include "daemon/base/clock.h"

int main(int argc, char** argv) {
  const dwell::base::KeptClock clock;
  return dwell::app::RunDaemon({argv + 1, argv + argc}, clock);
}
