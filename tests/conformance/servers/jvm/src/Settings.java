import ca.uhn.fhir.batch2.jobs.config.Batch2JobsConfig;
import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.jpa.api.config.JpaStorageSettings;
import ca.uhn.fhir.jpa.api.config.JpaStorageSettings.StoreMetaSourceInformationEnum;
import ca.uhn.fhir.jpa.api.config.ThreadPoolFactoryConfig;
import ca.uhn.fhir.jpa.batch2.JpaBatch2Config;
import ca.uhn.fhir.jpa.config.HapiJpaConfig;
import ca.uhn.fhir.jpa.config.r4.JpaR4Config;
import ca.uhn.fhir.jpa.config.util.HapiEntityManagerFactoryUtil;
import ca.uhn.fhir.jpa.model.config.PartitionSettings;
import ca.uhn.fhir.jpa.model.config.SubscriptionSettings;
import ca.uhn.fhir.jpa.model.dialect.HapiFhirH2Dialect;
import ca.uhn.fhir.jpa.subscription.channel.config.SubscriptionChannelConfig;
import jakarta.persistence.EntityManagerFactory;
import java.util.Properties;
import javax.sql.DataSource;
import org.apache.commons.dbcp2.BasicDataSource;
import org.springframework.beans.factory.config.ConfigurableListableBeanFactory;
import org.springframework.context.annotation.Bean;
import org.springframework.context.annotation.Configuration;
import org.springframework.context.annotation.Import;
import org.springframework.context.annotation.Primary;
import org.springframework.orm.jpa.JpaTransactionManager;
import org.springframework.orm.jpa.LocalContainerEntityManagerFactoryBean;

/**
 * The storage of the server: the libraries' own parts for R4 over a database in memory. What is not set here stands
 * as the libraries have it: references must find their target, ids of clients begin with a letter, conditional
 * references are searched for.
 */
@Configuration
@Import({JpaR4Config.class, HapiJpaConfig.class, JpaBatch2Config.class, Batch2JobsConfig.class,
    SubscriptionChannelConfig.class, ThreadPoolFactoryConfig.class})
class Settings {
  private static final int CONNECTIONS = 8;

  @Bean
  JpaStorageSettings storageSettings() {
    JpaStorageSettings storage = new JpaStorageSettings();
    // As it was sent: by default the server puts the number of its request behind it.
    storage.setStoreMetaSourceInformation(StoreMetaSourceInformationEnum.SOURCE_URI);
    return storage;
  }

  @Bean
  PartitionSettings partitionSettings() {
    return new PartitionSettings();
  }

  @Bean
  SubscriptionSettings subscriptionSettings() {
    return new SubscriptionSettings();
  }

  @Bean(destroyMethod = "close")
  BasicDataSource dataSource() {
    BasicDataSource source = new BasicDataSource();
    source.setUrl("jdbc:h2:mem:server;DB_CLOSE_DELAY=-1");
    source.setUsername("sa");
    source.setPassword("");
    source.setMaxTotal(CONNECTIONS);
    source.setPoolPreparedStatements(true);
    return source;
  }

  @Bean
  LocalContainerEntityManagerFactoryBean entityManagerFactory(DataSource source, ConfigurableListableBeanFactory beans,
      FhirContext fhir, JpaStorageSettings storage) {
    Properties hibernate = new Properties();
    hibernate.put("hibernate.dialect", HapiFhirH2Dialect.class.getName());
    hibernate.put("hibernate.hbm2ddl.auto", "create");
    hibernate.put("hibernate.search.enabled", "false");
    LocalContainerEntityManagerFactoryBean factory =
        HapiEntityManagerFactoryUtil.newEntityManagerFactory(beans, fhir, storage);
    factory.setPersistenceUnitName("server");
    factory.setDataSource(source);
    factory.setJpaProperties(hibernate);
    return factory;
  }

  @Bean
  @Primary
  JpaTransactionManager transactionManager(EntityManagerFactory factory) {
    return new JpaTransactionManager(factory);
  }
}
