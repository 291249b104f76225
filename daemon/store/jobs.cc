#include "daemon/store/jobs.h"

#include <utility>

#include "daemon/base/limits.h"

namespace dwell::store {

void WaitingJobs::Add(Job job) { (job.goes_first ? first_ : others_).push_back(std::move(job)); }

std::vector<Job> WaitingJobs::Take() {
  std::vector<Job> batch;
  std::size_t weight = 0;
  for (std::deque<Job>* queue : {&first_, &others_}) {
    while (!queue->empty() && weight < limits::kEventsPerCommitMax) {
      weight += queue->front().weight;
      batch.push_back(std::move(queue->front()));
      queue->pop_front();
    }
  }
  return batch;
}

}  // namespace dwell::store
