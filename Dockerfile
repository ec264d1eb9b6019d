# One image for web, worker and beat; docker-compose.yml says which.
FROM python:3.13-slim-bookworm

RUN apt-get update \
 && apt-get install -y --no-install-recommends \
      libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core \
 && rm -rf /var/lib/apt/lists/*

WORKDIR /app
ENV PYTHONUNBUFFERED=1 PYTHONDONTWRITEBYTECODE=1
COPY requirements.lock .
RUN pip install --no-cache-dir --require-hashes -r requirements.lock
COPY . .

# The static files belong to the image; the key only lets the settings load and is not kept.
RUN SECRET_KEY=while-building-only python manage.py collectstatic --noinput \
 && useradd --create-home office && mkdir -p files && chown office files
USER office

EXPOSE 8000
CMD ["gunicorn", "estimating.config.wsgi", "--bind", "0.0.0.0:8000", "--workers", "3", "--access-logfile", "-"]
