# The receiver in a container: the command `receiver` with everything that `run` and `plant` need.
#
# No container engine has built or run this here. What could be tried without one was: the same pip command in a
# clean environment of the same Python, and the tests in tests/containers.
#
# The tag of its image can come to mean another one; docker-compose.yml says how to pin it.
#
# Ordinary software, not a safety function: emergency stop and guards are wired outside it.

FROM python:3.11-slim-bookworm AS build
WORKDIR /src
COPY pyproject.toml constraints.txt README.md LICENSE ./
COPY controller controller
COPY io_sim io_sim
COPY configs configs
RUN python -m venv /opt/receiver \
 && /opt/receiver/bin/pip install --no-cache-dir -c constraints.txt .

FROM python:3.11-slim-bookworm
COPY --from=build /opt/receiver /opt/receiver
COPY configs/containers/healthy.py /opt/receiver/healthy.py
ENV PATH=/opt/receiver/bin:$PATH PYTHONDONTWRITEBYTECODE=1 PYTHONUNBUFFERED=1
# A user without a name, who owns nothing. docker-compose.yml puts whoever prepared the folders in his place.
USER 10001:10001
ENTRYPOINT ["receiver"]
CMD ["--help"]
