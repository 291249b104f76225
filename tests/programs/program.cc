#include "tests/programs/program.h"

#include <fcntl.h>
#include <gtest/gtest.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>

namespace dwell::test {
namespace {

constexpr int kPatienceMs = 60'000;  // a program that hangs must fail the test, a slow one not

std::vector<char*> Pointers(std::vector<std::string>& texts) {
  std::vector<char*> pointers;
  for (std::string& text : texts) pointers.push_back(text.data());
  pointers.push_back(nullptr);
  return pointers;
}

}  // namespace

std::string DwelldPath() { return DWELLD_PROGRAM; }
std::string DwellPath() { return DWELL_PROGRAM; }

Program::Program(const std::vector<std::string>& arguments,
                 const std::vector<std::string>& environment) {
  std::array<int, 2> ends{};
  EXPECT_EQ(::pipe2(ends.data(), O_CLOEXEC), 0);
  pipe_ = ends[0];
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_addopen(&actions, STDIN_FILENO, "/dev/null", O_RDONLY, 0);
  posix_spawn_file_actions_adddup2(&actions, ends[1], STDOUT_FILENO);
  posix_spawn_file_actions_adddup2(&actions, ends[1], STDERR_FILENO);
  std::vector<std::string> argument_texts = arguments;
  std::vector<std::string> variables{"PATH=/usr/bin:/bin"};
  variables.insert(variables.end(), environment.begin(), environment.end());
  EXPECT_EQ(::posix_spawn(&pid_, arguments.at(0).c_str(), &actions, nullptr,
                          Pointers(argument_texts).data(), Pointers(variables).data()),
            0)
      << arguments.at(0);
  posix_spawn_file_actions_destroy(&actions);
  ::close(ends[1]);
}

Program::~Program() {
  if (pid_ > 0) {
    Signal(SIGKILL);
    ::waitpid(pid_, nullptr, 0);
  }
  ::close(pipe_);
}

bool Program::ReadMore() {
  pollfd waiting{.fd = pipe_, .events = POLLIN, .revents = 0};
  if (::poll(&waiting, 1, kPatienceMs) <= 0) return false;
  std::array<char, 4096> chunk{};
  const ssize_t bytes = ::read(pipe_, chunk.data(), chunk.size());
  if (bytes <= 0) return false;
  output_.append(chunk.data(), static_cast<std::size_t>(bytes));
  return true;
}

bool Program::ReadUntil(const std::string& text) {
  while (output_.find(text) == std::string::npos) {
    if (!ReadMore()) return false;
  }
  return true;
}

void Program::Signal(int number) const { ::kill(pid_, number); }

int Program::Wait() {
  while (ReadMore()) {
  }
  int status = 0;
  EXPECT_EQ(::waitpid(pid_, &status, 0), pid_);
  pid_ = -1;
  return WIFEXITED(status) ? WEXITSTATUS(status) : -WTERMSIG(status);
}

Ended RunToEnd(const std::vector<std::string>& arguments,
               const std::vector<std::string>& environment) {
  Program program(arguments, environment);
  const int code = program.Wait();
  return {code, program.output()};
}

}  // namespace dwell::test
