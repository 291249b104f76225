#include "daemon/net/tls_source.h"

#include "daemon/base/log.h"

namespace dwell::net {
namespace {

Result<TlsContext> Read(TlsSource::End end, const TlsFiles& files) {
  if (end == TlsSource::End::kServer) return TlsContext::Server(files);
  return TlsContext::Client(files);
}

}  // namespace

bool TlsSource::Mark::operator==(const Mark& other) const {
  return file == other.file && bytes == other.bytes && changed.tv_sec == other.changed.tv_sec &&
         changed.tv_nsec == other.changed.tv_nsec;
}

TlsSource::Marks TlsSource::Look(const TlsFiles& files) {
  Marks marks;
  std::size_t at = 0;
  for (const std::string* path :
       {&files.certificate_chain, &files.private_key, &files.authorities}) {
    struct stat now {};
    Mark& mark = marks.at(at++);
    if (path->empty() || ::stat(path->c_str(), &now) != 0) continue;
    mark = {now.st_ino, now.st_size, now.st_mtim};
  }
  return marks;
}

Result<TlsSource> TlsSource::Open(End end, TlsFiles files) {
  const Marks marks = Look(files);  // before reading: a change meanwhile is seen next time
  const Result<TlsContext> context = Read(end, files);
  if (!context) return context.error();
  return TlsSource(end, std::move(files), *context, marks);
}

const TlsContext& TlsSource::Current() {
  const Marks marks = Look(files_);
  if (marks == marks_) return context_;
  marks_ = marks;
  const Result<TlsContext> context = Read(end_, files_);
  if (context) {
    context_ = *context;
    log::Write(log::Level::kInfo, "tls-files-read-again");
  } else {
    log::Write(log::Level::kError, "tls-files-not-usable", {{"why", context.error()}});
  }
  return context_;
}

}  // namespace dwell::net
