#include "daemon/command/admin_client.h"

#include <array>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/io_context.hpp>

#include "daemon/base/limits.h"
#include "daemon/net/connection.h"
#include "schemas/json/document.h"

namespace dwell::command {
namespace {

namespace asio = net::asio;

Error NobodyThere(const std::string& path, const std::string& why) {
  return {ErrorKind::kNetwork,
          "no answer on " + path + " (" + why +
              "). Is dwelld running, and may this user write to the socket? --socket or --config "
              "says which one is meant."};
}

/// Whether `row` is the last one; then `result` is what the daemon says at the end.
bool IsEnd(std::string_view row, Result<void>& result) {
  constexpr std::string_view kEnd = "{\"end\":true";
  if (!row.starts_with(kEnd)) return false;
  const auto document = schemas::Document::Parse(row);
  const auto error = document ? document->root().Find("error") : std::nullopt;
  if (error) result = Error(ErrorKind::kData, std::string(error->AsString()));
  return true;
}

asio::awaitable<void> Converse(const std::string& path, const std::string& request,
                               const Rows& rows, Result<void>& result) {
  const auto connected = co_await net::ConnectLocal(path, limits::kAdminSilenceMax);
  if (!connected) {
    result = NobodyThere(path, connected.error().message());
    co_return;
  }
  net::Connection& connection = **connected;
  const net::Io written = co_await connection.Write(request, "\n");
  boost::system::error_code error = written.error;
  std::string received;
  std::array<char, 16 * limits::kKiB> chunk;
  while (!error) {
    connection.Deadline(limits::kAdminSilenceMax);
    const net::Io io = co_await connection.ReadSome(chunk);
    error = io.error;
    const std::size_t seen = received.size();
    received.append(chunk.data(), io.bytes);
    std::size_t begin = 0;
    for (std::size_t end = received.find('\n', seen); end != std::string::npos;
         end = received.find('\n', begin)) {
      const std::string_view row = std::string_view(received).substr(begin, end - begin);
      if (IsEnd(row, result)) co_return;
      rows(row);
      begin = end + 1;
    }
    received.erase(0, begin);
  }
  result = NobodyThere(path, error.message());
}

}  // namespace

Result<void> AskDaemon(const std::string& path, const std::string& request, const Rows& rows) {
  asio::io_context io(1);
  Result<void> result;
  asio::co_spawn(io, Converse(path, request, rows, result), asio::detached);
  io.run();
  return result;
}

}  // namespace dwell::command
